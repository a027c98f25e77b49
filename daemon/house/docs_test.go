package house_test

import (
	"go/ast"
	"go/token"
	"slices"
)

var packageComments = rule{
	name: "package comment",
	why: "the package comment is the contract: what the package owns, units, order, what may be called concurrently, " +
		"which goroutines it starts",
	check:   undescribed,
	refused: []sample{{"client/client.go", "package client\n"}},
	passed:  []sample{{"client/client.go", "// Package client follows.\npackage client\n"}},
}

// undescribed lists the packages without a comment.
func undescribed(all []*source) []string {
	described, first := map[string]bool{}, map[string]*source{}
	var rooms []string
	for _, s := range all {
		if s.test() {
			continue
		}
		if first[s.room()] == nil {
			first[s.room()] = s
			rooms = append(rooms, s.room())
		}
		if s.tree.Doc.Text() != "" {
			described[s.room()] = true
		}
	}
	var faults []string
	for _, room := range rooms {
		if !described[room] {
			faults = append(faults, room+": package "+first[room].tree.Name.Name+" has no package comment")
		}
	}
	return faults
}

var docComments = rule{
	name:  "doc comment",
	why:   "an exported name is a promise; what is promised (unit, range, error, ownership) stands in its comment or nowhere",
	check: each(undocumented),
	refused: []sample{
		{"client/a.go", "package client\nfunc Follow() {}\n"},
		{"client/a.go", "package client\n// t is.\ntype T struct{}\nfunc (t *T) Next() {}\n"},
		{"client/a.go", "package client\n// T is.\ntype T[K any] struct{}\nfunc (t T[K]) Next() {}\n"},
		{"client/a.go", "package client\ntype T struct{}\n"},
		{"client/a.go", "package client\nvar ErrLost = 1\n"},
		{"client/a.go", "package client\n// Source reads.\ntype Source interface { Next() bool }\n"},
	},
	passed: []sample{
		{"client/a.go", "package client\n// Follow follows.\nfunc Follow() {}\nfunc quiet() {}\n"},
		{"client/a.go", "package client\ntype t struct{}\nfunc (t *t) Next() {}\n"},
		{"client/a.go", "package client\n// The causes.\nconst (\n\tA = iota\n\tB\n)\n"},
		{"client/a.go", "package client\nconst (\n\tA = iota // none\n)\n"},
		{"client/a_test.go", "package client\nfunc TestFollow() {}\n"},
		{"client/a.go", "package client\n// Source reads.\ntype Source interface {\n\tNext() bool // false at the end\n}\n"},
	},
}

// undocumented lists the exported names without a comment. Fields need none: a good name does.
func undocumented(s *source) []string {
	if s.test() {
		return nil
	}
	var faults []string
	missing := func(name *ast.Ident, comments ...*ast.CommentGroup) {
		described := slices.ContainsFunc(comments, func(c *ast.CommentGroup) bool { return c.Text() != "" })
		if name.IsExported() && !described {
			faults = append(faults, s.fault(name.Pos(), name.Name+" has no doc comment"))
		}
	}
	for _, declared := range s.tree.Decls {
		switch d := declared.(type) {
		case *ast.FuncDecl:
			if d.Recv == nil || ast.IsExported(receiver(d)) {
				missing(d.Name, d.Doc)
			}
		case *ast.GenDecl:
			for _, spec := range d.Specs {
				checkSpec(s, d, spec, missing)
			}
		}
	}
	return faults
}

func checkSpec(in *source, group *ast.GenDecl, spec ast.Spec, missing func(*ast.Ident, ...*ast.CommentGroup)) {
	switch s := spec.(type) {
	case *ast.ValueSpec:
		for _, name := range s.Names {
			missing(name, s.Doc, s.Comment, group.Doc)
		}
	case *ast.TypeSpec:
		lone := group.Doc
		if group.Lparen != token.NoPos {
			lone = nil
		}
		missing(s.Name, s.Doc, s.Comment, lone)
		methods, ok := s.Type.(*ast.InterfaceType)
		if !ok || !s.Name.IsExported() || in.support() {
			return // a part of testing.TB needs no words of ours
		}
		for _, method := range methods.Methods.List {
			for _, name := range method.Names {
				missing(name, method.Doc, method.Comment)
			}
		}
	}
}

// receiver gives the name of the type that a method belongs to.
func receiver(method *ast.FuncDecl) string {
	of := method.Recv.List[0].Type
	for {
		switch e := of.(type) {
		case *ast.StarExpr:
			of = e.X
		case *ast.IndexExpr:
			of = e.X
		case *ast.IndexListExpr:
			of = e.X
		case *ast.ParenExpr:
			of = e.X
		case *ast.Ident:
			return e.Name
		default:
			return ""
		}
	}
}

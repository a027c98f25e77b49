package house_test

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
)

// module is the module's path.
const module = "github.com/ampledger/ampledger"

// source is one parsed Go file.
type source struct {
	path      string // below the module's root, with slashes
	set       *token.FileSet
	tree      *ast.File
	generated bool
}

func parse(path string, text []byte) (*source, error) {
	set := token.NewFileSet()
	tree, err := parser.ParseFile(set, path, text, parser.ParseComments|parser.SkipObjectResolution)
	if err != nil {
		return nil, err
	}
	return &source{path: path, set: set, tree: tree, generated: ast.IsGenerated(tree)}, nil
}

// room is the file's folder.
func (s *source) room() string { return path.Dir(s.path) }

// in says whether the file's folder is one of rooms or lies below one of them.
func (s *source) in(rooms ...string) bool {
	return slices.ContainsFunc(rooms, func(room string) bool { return s.room() == room || strings.HasPrefix(s.room(), room+"/") })
}

func (s *source) test() bool { return strings.HasSuffix(s.path, "_test.go") }

// support says whether the file is there for tests only.
func (s *source) support() bool { return s.test() || strings.HasSuffix(s.room(), "test") }

func (s *source) line(at token.Pos) int { return s.set.Position(at).Line }

// fault says what is wrong where.
func (s *source) fault(at token.Pos, what string) string {
	return s.path + ":" + strconv.Itoa(s.line(at)) + ": " + what
}

// imports gives the paths imported.
func (s *source) imports() []string {
	paths := make([]string, len(s.tree.Imports))
	for i, imported := range s.tree.Imports {
		paths[i], _ = strconv.Unquote(imported.Path.Value) // the parser has checked it
	}
	return paths
}

// local gives the name by which the file knows a package; "" if it does not import it.
func (s *source) local(of string) string {
	at := slices.Index(s.imports(), of)
	switch {
	case at < 0:
		return ""
	case s.tree.Imports[at].Name != nil:
		return s.tree.Imports[at].Name.Name
	}
	return path.Base(of)
}

// calls visits each call of one of a package's functions; visit says whether to look inside the call.
func (s *source) calls(of, function string, visit func(*ast.CallExpr) bool) {
	local := s.local(of)
	if local == "" {
		return
	}
	ast.Inspect(s.tree, func(n ast.Node) bool {
		call, ok := n.(*ast.CallExpr)
		return !ok || !isSelector(call.Fun, local, function) || visit(call)
	})
}

func isSelector(e ast.Expr, of, name string) bool {
	selector, ok := e.(*ast.SelectorExpr)
	if !ok || selector.Sel.Name != name {
		return false
	}
	left, ok := selector.X.(*ast.Ident)
	return ok && left.Name == of
}

// root finds the module's folder above the test's.
var root = sync.OnceValues(func() (string, error) {
	at, err := os.Getwd()
	if err != nil {
		return "", err
	}
	for {
		if _, err = os.Stat(filepath.Join(at, "go.mod")); err == nil || at == filepath.Dir(at) {
			return at, err
		}
		at = filepath.Dir(at)
	}
})

// house reads every Go file of the module that is not generated.
func house(t *testing.T) []*source {
	t.Helper()
	all, err := readHouse()
	if err != nil {
		t.Fatal(err)
	}
	return all
}

var readHouse = sync.OnceValues(func() ([]*source, error) {
	from, err := root()
	if err != nil {
		return nil, err
	}
	var all []*source
	err = filepath.WalkDir(from, func(at string, entry fs.DirEntry, err error) error {
		switch {
		case err != nil:
			return err
		case entry.IsDir() && at != from && isHidden(entry.Name()):
			return filepath.SkipDir
		case entry.IsDir() || filepath.Ext(at) != ".go":
			return nil
		}
		text, err := os.ReadFile(at)
		if err != nil {
			return err
		}
		below, err := filepath.Rel(from, at)
		if err != nil {
			return err
		}
		read, err := parse(filepath.ToSlash(below), text)
		if err == nil && !read.generated {
			all = append(all, read)
		}
		return err
	})
	return all, err
})

// isHidden tells the folders that the go command passes over as well.
func isHidden(folder string) bool {
	return folder == "testdata" || strings.HasPrefix(folder, ".") || strings.HasPrefix(folder, "_")
}

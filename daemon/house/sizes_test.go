package house_test

import (
	"fmt"
	"go/ast"
	"strings"
)

const (
	mostFileLines     = 800
	mostFunctionLines = 80
)

var fileSizes = rule{
	name: "file size",
	why:  "a file is one idea; one of more than 800 lines holds several, and nobody finds the second",
	check: each(func(s *source) []string {
		if lines := s.set.File(s.tree.FileStart).LineCount(); lines > mostFileLines {
			return []string{fmt.Sprintf("%s: %d lines, %d at most", s.path, lines, mostFileLines)}
		}
		return nil
	}),
	refused: []sample{{"client/a.go", "package client" + strings.Repeat("\n", mostFileLines+1)}},
	passed:  []sample{{"client/a.go", "package client" + strings.Repeat("\n", mostFileLines)}},
}

var functionSizes = rule{
	name: "function size",
	why:  "a function that does not fit a screen is not read as a whole, and its deferred work and its errors are lost sight of",
	check: each(func(s *source) []string {
		var faults []string
		for _, declared := range s.tree.Decls {
			f, ok := declared.(*ast.FuncDecl)
			if !ok {
				continue
			}
			if lines := s.line(f.End()) - s.line(f.Pos()) + 1; lines > mostFunctionLines {
				faults = append(faults, s.fault(f.Pos(), fmt.Sprintf("%s has %d lines, %d at most", f.Name.Name, lines, mostFunctionLines)))
			}
		}
		return faults
	}),
	refused: []sample{{"client/a.go", "package client\nfunc f() {" + strings.Repeat("\n", mostFunctionLines) + "}"}},
	passed:  []sample{{"client/a.go", "package client\nfunc f() {" + strings.Repeat("\n", mostFunctionLines-1) + "}"}},
}

package house_test

import (
	"go/ast"
	"path"
	"slices"
	"strings"
)

// launchers are the rooms that may start goroutines; of daemon/store, only the recorder may, and of the commands the demonstration, which is a
// daemon and its client in one process. daemon/score runs the seeds of a study, which have nothing in common, on all processors.
var launchers = []string{"daemon", "daemon/pipeline", "daemon/pluginhost", "daemon/score", "daemon/service", "plugins/plugin"}

var launches = rule{
	name: "goroutines",
	why: "who starts a goroutine must also end it and wait for it; that is kept in few rooms, each with a Run that returns when all of " +
		"its own have ended",
	check: each(launched),
	refused: []sample{
		{"client/a.go", "package client\nfunc f() { go f() }"},
		{"daemon/store/open.go", "package store\nfunc f() { var g sync.WaitGroup; g.Go(f) }"},
		{"daemon/pipeline/inner/a.go", "package inner\nfunc f() { go f() }"},
	},
	passed: []sample{
		{"daemon/pipeline/a.go", "package pipeline\nfunc f() { go f() }"},
		{"daemon/store/recorder_run.go", "package store\nfunc f() { go f() }"},
		{"client/a_test.go", "package client\nfunc f() { go f() }"},
		{"plugins/driver/drivertest/a.go", "package drivertest\nfunc f() { go f() }"},
	},
}

func launched(s *source) []string {
	recorder := s.room() == "daemon/store" && strings.HasPrefix(path.Base(s.path), "recorder")
	demo := s.path == "cmd/internal/query/demo.go"
	if s.support() || recorder || demo || slices.Contains(launchers, s.room()) {
		return nil
	}
	var faults []string
	ast.Inspect(s.tree, func(n ast.Node) bool {
		switch n := n.(type) {
		case *ast.GoStmt:
			faults = append(faults, s.fault(n.Pos(), "a go statement in "+s.room()))
		case *ast.CallExpr:
			if method, ok := n.Fun.(*ast.SelectorExpr); ok && method.Sel.Name == "Go" {
				faults = append(faults, s.fault(n.Pos(), "a goroutine started by a method Go in "+s.room()))
			}
		}
		return true
	})
	return faults
}

var inits = rule{
	name: "init",
	why:  "what init does happens to everybody who imports the package, in no order that is written down: a table and a call say it",
	check: each(func(s *source) []string {
		var faults []string
		for _, declared := range s.tree.Decls {
			if f, ok := declared.(*ast.FuncDecl); ok && f.Recv == nil && f.Name.Name == "init" {
				faults = append(faults, s.fault(f.Pos(), "a function init"))
			}
		}
		return faults
	}),
	refused: []sample{{"client/a.go", "package client\nfunc init() {}"}},
	passed:  []sample{{"client/a.go", "package client\ntype t int\nfunc (t) init() {}"}},
}

var timeAfter = rule{
	name: "time.After",
	why:  "a wait that nobody can stop hides who waits for what; a timer with a deferred Stop says so and ends with its function",
	check: each(func(s *source) []string {
		if s.support() {
			return nil
		}
		var faults []string
		s.calls("time", "After", func(call *ast.CallExpr) bool {
			faults = append(faults, s.fault(call.Pos(), "a call of time.After"))
			return true
		})
		return faults
	}),
	refused: []sample{
		{"client/a.go", `package client; import "time"; func f() { <-time.After(1) }`},
		{"client/a.go", `package client; import clock "time"; func f() { <-clock.After(1) }`},
	},
	passed: []sample{
		{"client/a_test.go", `package client; import "time"; func f() { <-time.After(1) }`},
		{"client/a.go", `package client; import "time"; func f(t time.Time) bool { return t.After(t) }`},
	},
}

package house_test

import (
	"go/ast"
	"go/token"
)

var sleeps = rule{
	name: "sleep in a test",
	why: "a sleep is either too short on a busy machine or too long on every other; wait for what is meant, or sleep in a bubble of " +
		"testing/synctest, where it only moves the bubble's clock",
	check: each(slept),
	refused: []sample{
		{"client/a_test.go", `package client; import "time"; func f() { time.Sleep(1) }`},
		{"client/a_test.go", `package client; import ("testing/synctest"; "time"); func f() { synctest.Test(t, g); time.Sleep(1) }`},
	},
	passed: []sample{
		{"client/a_test.go", `package client; import ("testing/synctest"; "time"); func f() { synctest.Test(t, func() { time.Sleep(1) }) }`},
		{"client/a_test.go", `package client; func f() { time.Sleep(1) }`},
	},
}

// slept lists the sleeps that do not stand inside a bubble.
func slept(s *source) []string {
	if !s.support() {
		return nil
	}
	var bubbles []*ast.CallExpr
	s.calls("testing/synctest", "Test", func(call *ast.CallExpr) bool {
		bubbles = append(bubbles, call)
		return false
	})
	var faults []string
	s.calls("time", "Sleep", func(call *ast.CallExpr) bool {
		if !within(bubbles, call.Pos()) {
			faults = append(faults, s.fault(call.Pos(), "time.Sleep outside a synctest bubble"))
		}
		return true
	})
	return faults
}

func within(calls []*ast.CallExpr, at token.Pos) bool {
	for _, call := range calls {
		if call.Pos() <= at && at < call.End() {
			return true
		}
	}
	return false
}

var skips = rule{
	name:  "skipped test",
	why:   "a test that skips looks like one that passed; let it run everywhere, or do not write it",
	check: each(skipped),
	refused: []sample{
		{"client/a_test.go", `package client; import "testing"; func TestA(t *testing.T) { t.Skip() }`},
		{"client/a_test.go", `package client; import "testing"; func FuzzA(f *testing.F) { f.Fuzz(func(t *testing.T) { t.Skipf("") }) }`},
		{"plugins/driver/drivertest/a.go", `package drivertest; import "testing"; func A(in testing.TB) { in.SkipNow() }`},
	},
	passed: []sample{
		{"client/a_test.go", `package client; import ("testing"; "pgregory.net/rapid"); func TestA(t *rapid.T) { t.Skip() }`},
		{"client/a.go", `package client; func f(r reader) { r.Skip() }`},
	},
}

// skipped lists the calls that skip a test.
func skipped(s *source) []string {
	local := s.local("testing")
	if local == "" {
		return nil
	}
	tests := map[string]bool{}
	ast.Inspect(s.tree, func(n ast.Node) bool {
		if field, ok := n.(*ast.Field); ok && isTest(field.Type, local) {
			for _, name := range field.Names {
				tests[name.Name] = true
			}
		}
		return true
	})
	var faults []string
	ast.Inspect(s.tree, func(n ast.Node) bool {
		call, ok := n.(*ast.CallExpr)
		if !ok {
			return true
		}
		for name := range tests {
			if isSelector(call.Fun, name, "Skip") || isSelector(call.Fun, name, "Skipf") || isSelector(call.Fun, name, "SkipNow") {
				faults = append(faults, s.fault(call.Pos(), "the test may skip"))
			}
		}
		return true
	})
	return faults
}

// isTest says whether a type is that of a running test, benchmark or fuzz target.
func isTest(e ast.Expr, local string) bool {
	if pointer, ok := e.(*ast.StarExpr); ok {
		e = pointer.X
	}
	return isSelector(e, local, "T") || isSelector(e, local, "B") || isSelector(e, local, "F") || isSelector(e, local, "TB")
}

package house_test

import (
	"strings"
	"testing"
)

// rule is one house rule over the module's Go files.
type rule struct {
	name    string
	why     string
	check   func([]*source) []string
	refused []sample // each must be refused
	passed  []sample // each must pass
}

// sample is a file that could stand in the module.
type sample struct{ path, text string }

var rules = []rule{
	packageComments, docComments,
	stageImports, pluginImports, mainPackages,
	launches, inits, timeAfter,
	sleeps, skips,
	fileSizes, functionSizes,
}

func TestHouse(t *testing.T) {
	all := house(t)
	for _, r := range rules {
		t.Run(r.name, func(t *testing.T) { report(t, r.check(all), r.why) })
	}
}

// report fails the test for each fault and says why the rule is there.
func report(t *testing.T, faults []string, why string) {
	t.Helper()
	for _, fault := range faults {
		t.Error(fault)
	}
	if len(faults) > 0 {
		t.Logf("why this rule: %s", why)
	}
}

// TestRulesBite holds each rule against its samples: a rule that refuses nothing would never be noticed.
func TestRulesBite(t *testing.T) {
	for _, r := range rules {
		t.Run(r.name, func(t *testing.T) {
			if len(r.refused) == 0 || len(r.passed) == 0 {
				t.Fatal("no samples")
			}
			for _, s := range r.refused {
				if len(r.check(s.parse(t))) == 0 {
					t.Errorf("passed %s: %.200q", s.path, s.text)
				}
			}
			for _, s := range r.passed {
				if faults := r.check(s.parse(t)); len(faults) > 0 {
					t.Errorf("refused %s: %.200q: %s", s.path, s.text, strings.Join(faults, "; "))
				}
			}
		})
	}
}

func (s sample) parse(t *testing.T) []*source {
	t.Helper()
	one, err := parse(s.path, []byte(s.text))
	if err != nil {
		t.Fatal(err)
	}
	return []*source{one}
}

// each makes a check over files of a check over one file.
func each(check func(*source) []string) func([]*source) []string {
	return func(all []*source) []string {
		var faults []string
		for _, s := range all {
			faults = append(faults, check(s)...)
		}
		return faults
	}
}

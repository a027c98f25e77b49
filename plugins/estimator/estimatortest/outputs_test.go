package estimatortest

import (
	"math"
	"strings"
	"testing"

	"github.com/ampledger/ampledger/plugins/plugin"
)

// deriver gives outputs and no estimates.
type deriver struct {
	counter
	outputs []*plugin.Output
	values  []*plugin.OutputValue
}

func (d *deriver) Outputs() []*plugin.Output      { return d.outputs }
func (d *deriver) Derived() []*plugin.OutputValue { return d.values }

func TestSuiteChecksOutputs(t *testing.T) {
	share, left := &plugin.Output{Name: "share", Unit: "1"}, &plugin.Output{Name: "left_coulombs", Unit: "C"}
	for _, c := range []struct {
		want    string
		outputs []*plugin.Output
		values  []*plugin.OutputValue
	}{
		{"", []*plugin.Output{share, left}, []*plugin.OutputValue{{Name: "left_coulombs", Value: -3, UncertaintyValue: 1}, {Name: "share"}}},
		{"", []*plugin.Output{share, left}, nil},
		{"no estimate was given", nil, nil},
		{`output "share", which was not named`, []*plugin.Output{left}, []*plugin.OutputValue{{Name: "share"}}},
		{`two values of output "share"`, []*plugin.Output{share}, []*plugin.OutputValue{{Name: "share"}, {Name: "share"}}},
		{`output "share": NaN ± 0`, []*plugin.Output{share}, []*plugin.OutputValue{{Name: "share", Value: math.NaN()}}},
		{`output "share": 0 ± +Inf`, []*plugin.Output{share}, []*plugin.OutputValue{{Name: "share", UncertaintyValue: math.Inf(1)}}},
		{`output "share": 0 ± -1`, []*plugin.Output{share}, []*plugin.OutputValue{{Name: "share", UncertaintyValue: -1}}},
		{`output "share", unit "1": named twice`, []*plugin.Output{share, share}, nil},
		{`output "Share", unit "1"`, []*plugin.Output{{Name: "Share", Unit: "1"}}, nil},
		{`output "share", unit ""`, []*plugin.Output{{Name: "share"}}, nil},
	} {
		s := suite{open: func() plugin.Estimator {
			return &deriver{counter{method: "deriving", silent: true, answer: func(*plugin.ChannelEstimate) {}}, c.outputs, c.values}
		}}
		err := s.givesSoundEstimates(t.Context())
		if c.want == "" && err != nil || c.want != "" && (err == nil || !strings.Contains(err.Error(), c.want)) {
			t.Errorf("outputs %v, values %v: error %v, want %q", c.outputs, c.values, err, c.want)
		}
		if c.want != "no estimate was given" && (s.derivesSoundOutputs(t.Context()) == nil) != (c.want == "") {
			t.Errorf("outputs %v, values %v: derives sound outputs does not say %q", c.outputs, c.values, c.want)
		}
	}
}

func TestChargeOfTheSummaries(t *testing.T) {
	runs, before := 1, &plugin.Charge{}
	for _, s := range healthy() {
		c := s.GetCharge()
		if (c != nil) != (s.GetChannels()[0].GetName() == Shunt) {
			t.Fatalf("%s through %d: charge %v", s.GetDevice(), s.GetLastSequence(), c)
		}
		if c == nil {
			continue
		}
		if c.GetOutCoulombs() < before.GetOutCoulombs() || c.GetInCoulombs() < before.GetInCoulombs() {
			t.Errorf("through %d: the ledger went from %v back to %v", s.GetLastSequence(), before, c)
		}
		if c.GetZeroCoulombs() < before.GetZeroCoulombs() {
			runs++
		}
		before = c
	}
	if runs != 2 {
		t.Errorf("%d runs of the daemon, want 2", runs)
	}
}

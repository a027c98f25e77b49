package coulombsoc

import (
	"context"
	"math"

	"google.golang.org/protobuf/proto"

	"github.com/ampledger/ampledger/plugins/plugin"
)

// with are settings.
type with map[string]any

// exact are settings of a pack of which everything is known: 10 Ah, nothing lost.
func exact(more with) with {
	all := with{
		"capacity_coulombs": 36000.0, "capacity_uncertainty_ratio": 0.0, "capacity_walk_ratio_per_root_year": 0.0, "coulombic_efficiency": 1.0,
		"coulombic_efficiency_uncertainty": 0.0, "coulombic_efficiency_walk_per_root_year": 0.0,
	}
	for name, value := range more {
		all[name] = value
	}
	return all
}

// pack is an estimator with the ledger it counts from. Its fields are changed by tests as the ledger's would.
type pack struct {
	*Estimator
	t        tb
	charge   *plugin.Charge
	nanos    int64
	sequence uint64
	answer   *plugin.Answer
}

// tb is what *testing.T, *testing.F and *rapid.T have in common.
type tb interface {
	Helper()
	Fatal(...any)
	Fatalf(string, ...any)
	Errorf(string, ...any)
	Context() context.Context
}

const stepNanos = 60e9

func started(t tb, settings with) *pack {
	p := &pack{Estimator: New(), t: t, charge: &plugin.Charge{}}
	decodable, err := plugin.NewSettings(settings)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := p.Configure(t.Context(), plugin.Conductor{Name: "pack", Channels: []*plugin.Channel{{Name: "shunt"}}}, decodable); err != nil {
		t.Fatal(err)
	}
	return p
}

// summary gives the next, a minute long.
func (p *pack) summary(marks ...*plugin.Mark) *plugin.Summary {
	p.nanos += stepNanos
	p.sequence++
	return &plugin.Summary{
		Device: "daq", FirstSequence: p.sequence, LastSequence: p.sequence, FirstMonotonicNanos: p.nanos - stepNanos, LastMonotonicNanos: p.nanos,
		Channels: []*plugin.ChannelSummary{{Name: "shunt"}}, Charge: proto.CloneOf(p.charge), Marks: marks,
	}
}

// next hands over the next summary.
func (p *pack) next(marks ...*plugin.Mark) *pack { return p.observe(p.summary(marks...)) }

func (p *pack) observe(s *plugin.Summary) *pack {
	answer, err := plugin.Ask(p.Estimator, s)
	if err != nil {
		p.t.Fatal(err)
	}
	p.answer = answer
	return p
}

// stores is a mark, positive current being out of the pack.
func stores(coulombs, u float64) *plugin.Mark {
	return &plugin.Mark{PassedCoulombs: -coulombs, StandardUncertaintyCoulombs: u}
}

// again gives an estimator that went through a snapshot.
func (p *pack) again(settings with) *pack {
	state, err := p.Snapshot()
	if err != nil {
		p.t.Fatal(err)
	}
	other := started(p.t, settings)
	other.charge, other.nanos, other.sequence = proto.CloneOf(p.charge), p.nanos, p.sequence
	if err := other.Restore(state); err != nil {
		p.t.Fatal(err)
	}
	return other
}

// output gives a value of the newest answer and its uncertainty, NaN if it is left out.
func (p *pack) output(name string) (value, u float64) {
	for _, o := range p.answer.GetOutputs() {
		if o.GetName() == name {
			return o.GetValue(), o.GetUncertaintyValue()
		}
	}
	return math.NaN(), math.NaN()
}

// want compares an output with what is expected of it, to a part in 10⁹.
func (p *pack) want(name string, value, u float64) {
	p.t.Helper()
	got, gotU := p.output(name)
	if !near(got, value) || !near(gotU, u) {
		p.t.Errorf("%s is %.12g ± %.12g, want %.12g ± %.12g", name, got, gotU, value, u)
	}
}

func near(got, want float64) bool {
	return got == want || math.IsNaN(got) && math.IsNaN(want) || math.Abs(got-want) <= 1e-9*math.Abs(want)
}

// wantNotes compares the subjects of the notes that came with the newest answer.
func (p *pack) wantNotes(subjects ...string) {
	p.t.Helper()
	notes := p.answer.GetNotes()
	if len(notes) != len(subjects) {
		p.t.Fatalf("noted %v, want %q", notes, subjects)
	}
	for i, n := range notes {
		if n.GetSubject() != subjects[i] || n.GetText() == "" {
			p.t.Errorf("noted %v, want %q", n, subjects[i])
		}
	}
}

func unknown() float64 { return math.NaN() }

package coulombsoc

import (
	"context"
	"fmt"
	"math"
	"time"

	"github.com/ampledger/ampledger/plugins/plugin"
)

// Estimator implements plugin.Estimator.
type Estimator struct {
	settings settings
	prior    prior
	walks    vector
	sign     float64 // of what passed in the conductor's positive direction, in charge stored
	channels map[string]bool
	memory   memory
	noted    []*plugin.Note
	derived  []*plugin.OutputValue
}

// memory is what outlives a summary.
type memory struct {
	Seen    seen     `json:"seen"`
	Counted odometer `json:"counted"`
	Main    track    `json:"main"`
	Rival   *track   `json:"rival"` // begun at the newest mark, if that was not believed

	// Told already.
	ToldUnusable bool `json:"told_unusable"`
	ToldOutside  bool `json:"told_outside"`
}

// New makes an estimator that is not configured yet.
func New() *Estimator { return &Estimator{} }

// Configure implements plugin.Estimator.
func (e *Estimator) Configure(_ context.Context, conductor plugin.Conductor, from plugin.Settings) (method string, err error) {
	e.settings = defaults(conductor)
	if err := from.Decode(&e.settings); err != nil {
		return "", err
	}
	if err := e.settings.validate(); err != nil {
		return "", err
	}
	e.sign = -1
	if conductor.ChargeIsPositive {
		e.sign = 1
	}
	e.channels = map[string]bool{}
	for _, c := range conductor.Channels {
		e.channels[c.GetName()] = true
	}
	e.prior, e.walks, e.memory = e.settings.prior(), e.settings.walks(), memory{}
	for _, state := range []int{capacity, efficiency} {
		e.prior.put(&e.memory.Main.Estimate, state)
	}
	return fmt.Sprintf("no offsets: the state of charge of %.6g C ± %.2g C, counted from the ledger's charge and set right by marks", e.settings.CapacityCoulombs,
		e.prior.Deviation[capacity]), nil
}

// Observe implements plugin.Estimator. It gives no offsets.
func (e *Estimator) Observe(summary *plugin.Summary) ([]*plugin.ChannelEstimate, error) {
	for _, c := range summary.GetChannels() {
		if !e.channels[c.GetName()] {
			return nil, fmt.Errorf("channel %q was not configured", c.GetName())
		}
	}
	counted := e.count(summary)
	for _, m := range summary.GetMarks() {
		if err := e.mark(m, counted); err != nil {
			e.note("mark refused", "%v", err)
		}
	}
	e.derive(counted)
	return nil, nil
}

// count takes the ledger's charge and tells whether there was one that can be meant.
func (e *Estimator) count(summary *plugin.Summary) bool {
	c, m := summary.GetCharge(), &e.memory
	switch {
	case c == nil:
		return false
	case !usable(c):
		e.tellUnusable(c)
		return false
	}
	m.Counted.pass(summary, &m.Seen)
	first := !m.Seen.Begun
	if !m.Counted.count(c, &m.Seen) {
		e.loseCount()
	}
	if first {
		m.Main.begin(m.Counted)
		e.start()
	}
	for _, t := range m.tracks() {
		t.turn(&m.Counted)
	}
	return true
}

// tracks gives those there are.
func (m *memory) tracks() []*track {
	if m.Rival != nil {
		return []*track{&m.Main, m.Rival}
	}
	return []*track{&m.Main}
}

// start takes the setting for what is stored, if there is one and nothing is known.
func (e *Estimator) start() {
	s, m := &e.settings, &e.memory
	if s.InitialStateOfCharge == nil || m.Main.Known {
		return
	}
	u := *s.InitialStateOfChargeUncertainty * s.CapacityCoulombs
	of := statement{share: *s.InitialStateOfCharge, r: u * u}
	m.Main = of.start(m.Main.Estimate, m.Counted)
}

// loseCount begins anew without a charge stored: the ledger is another one.
func (e *Estimator) loseCount() {
	m := &e.memory
	was := m.Main.Known
	m.Main.Known, m.Rival = false, nil
	m.Main.Estimate.forget(stored)
	m.Main.begin(m.Counted)
	if was {
		e.note("ledger began anew", "the ledger holds less charge than before: what is stored is not known until the next mark")
	}
}

// Age implements plugin.Aging: the daemon was away, and the next summary is of another run of it, on another time base. What may have flowed
// meanwhile is in that run's gap bound.
func (e *Estimator) Age(by time.Duration) {
	if by > 0 {
		e.memory.Seen.Apart, e.memory.Seen.Timed = true, false
		e.memory.Counted.Seconds += by.Seconds()
	}
}

// Outputs implements plugin.Deriving.
func (e *Estimator) Outputs() []*plugin.Output {
	return []*plugin.Output{
		{Name: "state_of_charge", Unit: "1", Text: "charge left by capacity; not known before a mark"},
		{Name: "charge_left_coulombs", Unit: "C", Text: "charge stored in the pack; not known before a mark"},
		{Name: "capacity_coulombs", Unit: "C", Text: "charge the pack holds when full"},
		{Name: "coulombic_efficiency", Unit: "1", Text: "charge out by charge in that brings the pack back to where it was"},
	}
}

// Derived implements plugin.Deriving.
func (e *Estimator) Derived() []*plugin.OutputValue { return e.derived }

// derive states what is known as of the newest charge; what is stored only if that came with this very summary.
func (e *Estimator) derive(counted bool) {
	e.derived = nil
	now := e.memory.Main.at(&e.memory.Counted, &e.walks)
	if full := now.Mean[capacity]; counted && e.memory.Main.Known && full > 0 {
		share := now.Mean[stored] / full
		u := e.output("state_of_charge", &now, share, vector{stored: 1 / full, capacity: -share / full})
		e.output("charge_left_coulombs", &now, now.Mean[stored], vector{stored: 1})
		e.tellOutside(share, u)
	}
	e.output("capacity_coulombs", &now, now.Mean[capacity], vector{capacity: 1})
	e.output("coulombic_efficiency", &now, now.Mean[efficiency], vector{efficiency: 1})
}

// output adds one, with the derivatives by the states that carry their uncertainty over to it (GUM 5.1.2). One that is none is left out.
func (e *Estimator) output(name string, now *estimate, value float64, by vector) (u float64) {
	u = math.Sqrt(now.variance(&by))
	if finite(value) && finite(u) {
		e.derived = append(e.derived, &plugin.OutputValue{Name: name, Value: value, UncertaintyValue: u})
	}
	return u
}

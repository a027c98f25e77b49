package biasfilter

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"slices"
)

// snapshot is the state as it is kept: JSON, whose figures are read back to the bit. The covariance is its lower triangle, row by row.
type snapshot struct {
	Format     string             `json:"format"`
	States     []string           `json:"states"` // by their labels
	Mean       []float64          `json:"mean"`
	Covariance []float64          `json:"covariance"`
	Conductor  conductorMemory    `json:"conductor"`
	Channels   map[string]*memory `json:"channels"`
}

const snapshotFormat = "biasfilter/1"

// Snapshot implements plugin.Estimator.
func (e *Estimator) Snapshot() ([]byte, error) {
	s := snapshot{Format: snapshotFormat, States: e.labels(), Mean: e.filter.x, Conductor: e.memory, Channels: map[string]*memory{}}
	for i := range e.filter.n {
		s.Covariance = append(s.Covariance, e.filter.row(i)[:i+1]...)
	}
	for _, c := range e.channels {
		s.Channels[c.name] = &c.memory
	}
	return json.Marshal(s)
}

// Restore implements plugin.Estimator. States are taken over one by one by what they stand for: those of channels and operators that are new
// keep their prior, those that are gone are left out. A summary whose monotonic time is not after the newest one's adds nothing for the time
// in between; see Age.
func (e *Estimator) Restore(state []byte) error {
	var s snapshot
	if err := json.Unmarshal(state, &s); err != nil {
		return fmt.Errorf("no snapshot of biasfilter: %w", err)
	}
	if s.Format != snapshotFormat {
		return fmt.Errorf("snapshot is of format %q, this estimator reads %q", s.Format, snapshotFormat)
	}
	if err := s.check(); err != nil {
		return fmt.Errorf("snapshot: %w", err)
	}
	e.takeOver(&s)
	return nil
}

func (s *snapshot) at(i, j int) float64 {
	i, j = max(i, j), min(i, j)
	return s.Covariance[i*(i+1)/2+j]
}

// check tells what no snapshot of this estimator can hold.
func (s *snapshot) check() error {
	n := len(s.States)
	if len(s.Mean) != n || len(s.Covariance) != n*(n+1)/2 {
		return fmt.Errorf("%d states with %d means and %d covariances", n, len(s.Mean), len(s.Covariance))
	}
	for i := range n {
		if !(s.at(i, i) >= 0) || !finite(math.Sqrt(s.at(i, i))) || !finite(s.Mean[i]) {
			return fmt.Errorf("state %s is %g with the variance %g", s.States[i], s.Mean[i], s.at(i, i))
		}
		for j := range i {
			if most := math.Sqrt(s.at(i, i)) * math.Sqrt(s.at(j, j)); math.Abs(s.at(i, j)) > most*(1+1e-6) {
				return fmt.Errorf("states %s and %s have the covariance %g, at most %g is possible", s.States[i], s.States[j], s.at(i, j), most)
			}
		}
	}
	for name, kept := range s.Channels {
		if kept == nil {
			return fmt.Errorf("nothing is known of channel %q", name)
		}
		if !kept.sound() {
			return fmt.Errorf("channel %q: times and counts below 0, or figures that are none", name)
		}
	}
	if r := s.Conductor.Residual; s.Channels == nil || !(r >= 0 && finite(r)) {
		return errors.New("no channels, or a residual current that is none")
	}
	return nil
}

func (m *memory) sound() bool {
	r, w := &m.Resting, &m.Window
	for _, v := range []float64{m.Age, m.Unchecked, m.Weighed, r.Count, r.Seconds, w.Seconds, w.Count} {
		if !(v >= 0 && finite(v)) {
			return false
		}
	}
	for _, v := range slices.Concat(m.Regressor, m.Moved, m.Held, w.Regressor, []float64{
		m.Reference, m.Current, r.Coulombs, r.Applied, r.FusedCoulombs, r.FusedApplied, m.Span.Coulombs, w.Coulombs, w.Least, w.Greatest,
	}) {
		if !finite(v) {
			return false
		}
	}
	return m.Span.White >= 0 && finite(math.Sqrt(m.Span.White))
}

func (e *Estimator) takeOver(s *snapshot) {
	f, from := e.filter, make([]int, e.filter.n)
	for i, label := range e.labels() {
		from[i] = slices.Index(s.States, label)
	}
	for i, a := range from {
		if a < 0 {
			continue
		}
		f.x[i] = s.Mean[a]
		for j, b := range from {
			if b >= 0 {
				f.p[i*f.n+j] = s.at(a, b)
			}
		}
	}
	e.memory = s.Conductor
	for _, c := range e.channels {
		if kept := s.Channels[c.name]; kept != nil {
			c.takeOver(kept)
		}
	}
}

// takeOver continues from a snapshot. Regressors of other operators than the channel has now are begun anew.
func (c *channel) takeOver(kept *memory) {
	fresh := c.memory
	c.memory = *kept
	if !sameLengths(kept, &fresh) {
		c.Regressor, c.Moved, c.Held, c.Window = fresh.Regressor, fresh.Moved, fresh.Held, fresh.Window
		c.Resting.end()
	}
	for i, r := range c.Regressor {
		c.offset[1+i].by = r
	}
}

func sameLengths(a, b *memory) bool {
	return len(a.Regressor) == len(b.Regressor) && len(a.Moved) == len(b.Moved) && len(a.Held) == len(b.Held) &&
		len(a.Window.Regressor) == len(b.Window.Regressor)
}

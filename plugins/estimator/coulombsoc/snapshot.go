package coulombsoc

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
)

// snapshot is the state as it is kept: JSON, whose figures are read back to the bit.
type snapshot struct {
	Format string  `json:"format"`
	Prior  *prior  `json:"prior"` // what the state began with
	Memory *memory `json:"memory"`
}

const snapshotFormat = "coulombsoc/1"

// Snapshot implements plugin.Estimator.
func (e *Estimator) Snapshot() ([]byte, error) {
	return json.Marshal(snapshot{snapshotFormat, &e.prior, &e.memory})
}

// Restore implements plugin.Estimator. Of capacity and efficiency, what is stated otherwise now than it was then begins anew.
func (e *Estimator) Restore(state []byte) error {
	s, err := decode(state)
	if err != nil {
		return fmt.Errorf("no snapshot of coulombsoc: %w", err)
	}
	e.memory = *s.Memory
	for _, state := range []int{capacity, efficiency} {
		if s.Prior.Mean[state] != e.prior.Mean[state] || s.Prior.Deviation[state] != e.prior.Deviation[state] {
			e.restate(state)
		}
	}
	return nil
}

// restate makes a state what is stated of it now.
func (e *Estimator) restate(state int) {
	for _, t := range e.memory.tracks() {
		t.Estimate = t.at(&e.memory.Counted, &e.walks)
		t.begin(e.memory.Counted)
		e.prior.put(&t.Estimate, state)
	}
}

func decode(state []byte) (*snapshot, error) {
	var s snapshot
	d := json.NewDecoder(bytes.NewReader(state))
	d.DisallowUnknownFields()
	if err := d.Decode(&s); err != nil {
		return nil, err
	}
	if _, err := d.Token(); err != io.EOF {
		return nil, errors.New("something follows it")
	}
	switch {
	case s.Format != snapshotFormat:
		return nil, fmt.Errorf("it is of format %q, this estimator reads %q", s.Format, snapshotFormat)
	case s.Prior == nil || s.Memory == nil:
		return nil, errors.New("prior or memory are missing")
	}
	return &s, s.Memory.check()
}

// check tells what no snapshot of this estimator can hold.
func (m *memory) check() error {
	if !(m.Seen.sound() && m.Counted.sound()) {
		return errors.New("counts that are none")
	}
	for _, t := range m.tracks() {
		if !(t.From.sound() && t.Split.sound() && t.From.before(&t.Split) && t.Split.before(&m.Counted)) {
			return errors.New("counts that are none, or run backwards")
		}
		if err := t.Estimate.check(); err != nil {
			return err
		}
	}
	return nil
}

func (s *seen) sound() bool {
	for _, v := range []float64{s.Zero, s.Gain, s.Noise, s.Gap} {
		if !(v >= 0 && v <= most) {
			return false
		}
	}
	return true
}

// mostGrown bounds what is summed over runs.
const mostGrown = 1e6 * most

func (o *odometer) sound() bool {
	for _, v := range []float64{o.Out, o.In, o.Uncertainty, o.Zero, o.Noise, o.Gap, o.Seconds} {
		if !(v >= 0 && v <= mostGrown) {
			return false
		}
	}
	return math.Abs(o.Adjustment) <= most && math.Abs(o.GainedOut) <= mostGrown && math.Abs(o.GainedIn) <= mostGrown
}

// before tells whether what only grows is no more than later.
func (o *odometer) before(later *odometer) bool {
	return o.Zero <= later.Zero && o.Noise <= later.Noise && o.Gap <= later.Gap && o.Seconds <= later.Seconds
}

// mostSize bounds the figures of an estimate, variances among them: what they may grow by is finite then.
const mostSize = most * most * 1e6

func (e *estimate) check() error {
	if !(e.size() <= mostSize) || !e.Independent.covariance() || !e.Fresh.covariance() {
		return fmt.Errorf("an estimate that is none: %v", *e)
	}
	return nil
}

// covariance tells whether a matrix is symmetric and no covariance in it larger than its variances allow.
func (p *matrix) covariance() bool {
	for i := range p {
		for j := range i + 1 {
			allowed := math.Sqrt(p[i][i]) * math.Sqrt(p[j][j])
			if p[i][j] != p[j][i] || !(math.Abs(p[i][j]) <= allowed*(1+1e-6)) {
				return false
			}
		}
	}
	return true
}

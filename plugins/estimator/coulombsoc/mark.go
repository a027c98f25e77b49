package coulombsoc

import (
	"errors"
	"fmt"
	"math"

	"github.com/ampledger/ampledger/plugins/plugin"
)

// mark weighs a mark against what is expected, each by its variance. One that cannot be believed changes nothing but begins a rival: should the next
// mark agree with it, and not with what was expected, then it was right.
func (e *Estimator) mark(from *plugin.Mark, counted bool) error {
	m := &e.memory
	if !counted {
		return errors.New("the ledger's charge did not come with it")
	}
	s, err := e.statement(from)
	if err != nil {
		return err
	}
	switch {
	case !m.Main.Known:
		m.Main = s.start(m.Main.at(&m.Counted, &e.walks), m.Counted)
	case e.takes(&m.Main, s):
		m.Rival = nil
	case m.Rival != nil && e.takes(m.Rival, s):
		e.note("stored charge re-opened", "two marks in a row agree with each other and not with what was counted: they are believed")
		m.Main, m.Rival = *m.Rival, nil
	default:
		e.noteRejected(s)
		rival := s.start(m.Main.at(&m.Counted, &e.walks), m.Counted)
		m.Rival = &rival
	}
	return nil
}

// statement reads a mark.
func (e *Estimator) statement(m *plugin.Mark) (*statement, error) {
	coulombs, u := e.sign*m.GetPassedCoulombs(), m.GetStandardUncertaintyCoulombs()
	if !(math.Abs(coulombs) <= most && u > 0 && u <= most && u*u > 0) {
		return nil, fmt.Errorf("a mark of %g C ± %g C: both must be finite and below %g C, the uncertainty above 0", coulombs, u, most)
	}
	if e.settings.Marks == asCoulombs {
		return &statement{coulombs: coulombs, r: u * u}, nil
	}
	return &statement{share: coulombs / e.settings.CapacityCoulombs, r: u * u}, nil
}

// takes puts a statement into a track, if the track can believe it.
func (e *Estimator) takes(t *track, s *statement) bool {
	now := t.at(&e.memory.Counted, &e.walks)
	innovation, variance := s.against(&now)
	if !(innovation*innovation <= e.settings.Gate*variance) {
		return false
	}
	h := s.row()
	now.measure(&h, s.coulombs, s.r)
	if !finite(now.size()) {
		return false
	}
	t.Estimate = now
	t.begin(e.memory.Counted)
	return true
}

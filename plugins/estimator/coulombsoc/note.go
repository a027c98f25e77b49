package coulombsoc

import (
	"fmt"
	"math"

	"github.com/ampledger/ampledger/plugins/plugin"
)

// Notes gives what there was to say since the last call, oldest first, and forgets it.
func (e *Estimator) Notes() []*plugin.Note {
	noted := e.noted
	e.noted = nil
	return noted
}

func (e *Estimator) note(subject, format string, figures ...any) {
	e.noted = append(e.noted, &plugin.Note{Subject: subject, Text: fmt.Sprintf(format, figures...)})
}

func (e *Estimator) noteRejected(s *statement) {
	now := e.memory.Main.at(&e.memory.Counted, &e.walks)
	innovation, variance := s.against(&now)
	sigma := math.Sqrt(variance)
	e.note("mark not believed", "it states %.6g C, %+.4g C off what was counted, where ± %.2g C (σ) would do, %.1f σ: nothing was set right by it",
		now.Mean[stored]+innovation, innovation, sigma, math.Abs(innovation)/sigma)
}

func (e *Estimator) tellUnusable(c *plugin.Charge) {
	if !e.memory.ToldUnusable {
		e.memory.ToldUnusable = true
		e.note("charge unusable", "the ledger's charge cannot be meant, and is passed over: %v", c)
	}
}

// outside is by how many standard uncertainties a state of charge must lie below 0 or above 1 to be told of.
const outside = 2

// tellOutside says once that a state of charge is impossible, and again if it was possible in between. It is given as it is.
func (e *Estimator) tellOutside(share, u float64) {
	beyond := max(-share, share-1)
	if beyond > outside*u && !e.memory.ToldOutside {
		e.note("state of charge outside", "the state of charge is %.4f ± %.4f, beyond what its uncertainty explains: check capacity, marks and the zero", share, u)
	}
	e.memory.ToldOutside = beyond > outside*u || e.memory.ToldOutside && beyond > 0
}

package pipeline

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"time"

	"github.com/ampledger/ampledger/daemon/charge"
	"github.com/ampledger/ampledger/plugins/plugin"
	pluginv1 "github.com/ampledger/ampledger/proto/ampledger/plugin/v1"
)

// Mark is a moment at which the charge stored in the pack is known from elsewhere.
type Mark struct {
	StoredCoulombs      float64 // from an origin that is the same for all marks
	UncertaintyCoulombs float64 // standard, > 0
	Wall                int64   // ns since 1970-01-01 UTC; 0 = now
	By, Note            string  // who says so, and why
}

// The reasons why a mark is not taken.
var (
	ErrMarkOld     = errors.New("the moment lies before what is still retained: a mark must be posted while the readings since then are at hand")
	ErrMarkFuture  = errors.New("the moment lies in the future")
	ErrMarkOrder   = errors.New("the moment is not after that of the mark before")
	ErrMarkGap     = errors.New("readings are missing since that moment, so the mark cannot be carried to the present: post one for now")
	ErrMarkSilent  = errors.New("no reading comes from the device the charge is taken from, so the mark cannot be taken")
	ErrMarkBusy    = errors.New("too many marks wait, or the ledger has no room: try again later")
	ErrNoEstimator = errors.New("no estimator works on this conductor, and a mark is for an estimator")
)

// mostMarks is how many marks may wait for a summary.
const mostMarks = 16

// Marked is what an estimator made of a mark.
type Marked struct {
	Wall    int64   // wall-clock time of the scan the mark was carried to
	Carried float64 // coulombs that flowed from the mark to there, out of the pack
	Moves   []Move
	Notes   []string // of the estimator
}

// Move is by how much a channel's balance moves.
type Move struct {
	Lane           *Lane
	Microcoulombs  int64   // to be added to its balance
	Before, Now    float64 // standard uncertainty of the balance from zero and gain, coulombs
	adjustedBefore int64
}

// mark is a Mark on its way.
type mark struct {
	Mark
	hearing *hearing
	marked  Marked
	refused error
	carried chan struct{} // closed when it was carried, or refused
}

// Mark hands a mark to the estimator with the next summary of the device the charge is taken from, carried on to that summary's end by
// what was read since. It returns when the estimator has answered.
func (c *Conductor) Mark(ctx context.Context, m Mark) (*Marked, error) {
	if !c.estimates() {
		return nil, ErrNoEstimator
	}
	waiting := &mark{Mark: m, hearing: newHearing(), carried: make(chan struct{})}
	if err := c.queueMark(waiting); err != nil {
		return nil, err
	}
	silent := time.NewTimer(summaryWithin)
	defer silent.Stop()
	select {
	case <-waiting.carried:
	case <-ctx.Done():
		c.dropMark(waiting)
		return nil, context.Cause(ctx)
	case <-silent.C:
		c.dropMark(waiting)
		return nil, ErrMarkSilent
	}
	if waiting.refused != nil {
		return nil, waiting.refused
	}
	notes, err := waiting.hearing.wait(ctx)
	if err != nil {
		return nil, err
	}
	waiting.marked.Notes = notes
	c.finishMoves(&waiting.marked)
	return &waiting.marked, nil
}

// summaryWithin is the longest a mark waits for a summary.
const summaryWithin = 30 * time.Second

func (c *Conductor) queueMark(m *mark) error {
	c.mu.Lock()
	defer c.mu.Unlock()
	if s := c.side(c.lead().Device); s == nil || s.ended {
		return ErrMarkSilent
	}
	if len(c.marks) >= mostMarks {
		return ErrMarkBusy
	}
	c.marks = append(c.marks, m)
	return nil
}

func (c *Conductor) dropMark(m *mark) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.marks = slices.DeleteFunc(c.marks, func(other *mark) bool { return other == m })
}

// carryMarks gives the marks that wait to a summary, if it is of the device the charge is taken from.
func (c *Conductor) carryMarks(s *side, next *item) {
	lead := c.lead()
	if len(c.marks) == 0 || lead.Device != s.device {
		return
	}
	later := c.marks[:0]
	for _, m := range c.marks {
		switch wire, err := c.carry(m, lead, next); {
		case errors.Is(err, ErrMarkFuture) && m.Wall-next.made.Wall < futureNanos:
			later = append(later, m) // the clock of the caller, or of the summary, is a little off
		case err == nil && !c.postMark(m, lead):
			m.refused = ErrMarkBusy
			close(m.carried)
		case err != nil:
			m.refused = err
			close(m.carried)
		default:
			next.summary.Marks = append(next.summary.Marks, wire)
			next.hearings = append(next.hearings, m.hearing)
			m.hearing.until(c.estimation.number + 1)
			c.marked = m.Wall
			c.tellMark(m, next)
			close(m.carried)
		}
	}
	c.marks = later
}

// futureNanos is how far beyond the newest summary a mark may lie to wait for the next one.
const futureNanos = 60e9

// lead is the channel marks are carried by.
func (c *Conductor) lead() *Lane {
	for _, lane := range c.measuring() {
		if lane.Name == c.config.ChargeFrom {
			return lane
		}
	}
	return c.lanes[0]
}

// carry moves a mark on to the end of a summary: by the raw charge since then, less the offset in force. What that may be off by, and, where
// the mark lies within a summary, by how much the current changed in it, widens the mark.
func (c *Conductor) carry(m *mark, lead *Lane, next *item) (*pluginv1.Mark, error) {
	if m.Wall == 0 {
		m.Wall = next.made.Wall
	}
	switch {
	case m.Wall > next.made.Wall:
		return nil, ErrMarkFuture
	case c.marked != 0 && m.Wall <= c.marked:
		return nil, ErrMarkOrder
	}
	l := leg{wall: m.Wall}
	reached := l.add(next, lead)
	for i := len(c.estimation.retained) - 1; !reached && i >= 0; i-- {
		reached = l.add(&c.estimation.retained[i], lead)
	}
	switch {
	case l.gap:
		return nil, ErrMarkGap
	case !reached:
		return nil, ErrMarkOld
	}
	offset := lead.readings.Offset
	flowed := l.coulombs - offset*l.seconds
	u := math.Hypot(l.blur, lead.readings.ZeroAmperes*l.seconds)
	sign := lead.sign() // net charge out of the pack, in the sign of the readings
	m.marked = Marked{Wall: next.made.Wall, Carried: sign * flowed, Moves: c.beginMoves()}
	return &pluginv1.Mark{
		PassedCoulombs: flowed - sign*m.StoredCoulombs, StandardUncertaintyCoulombs: math.Hypot(m.UncertaintyCoulombs, u),
	}, nil
}

// leg is the way from a mark to the end of a summary.
type leg struct {
	wall              int64
	coulombs, seconds float64 // raw, in the sign of the readings
	blur              float64 // coulombs
	gap               bool    // readings are missing on it
}

// add adds what of a summary lies behind the mark and tells whether the mark was reached.
func (l *leg) add(i *item, lead *Lane) (reached bool) {
	at := i.of(lead.Name)
	if at == nil {
		return false
	}
	for _, of := range i.summary.GetChannels() {
		if of.GetName() != lead.Name {
			continue
		}
		if l.gap = missing(i.summary, of); l.gap {
			return true
		}
		behind := float64(i.made.Wall-l.wall) * 1e-9
		share := min(1, behind/of.GetIntegralSeconds())
		l.coulombs += share * of.GetIntegralCoulombs()
		l.seconds += share * of.GetIntegralSeconds()
		if share < 1 {
			l.blur = (of.GetMaximumAmperes() - of.GetMinimumAmperes()) / math.Sqrt(12) * min(share, 1-share) * of.GetIntegralSeconds()
		}
		return behind <= of.GetIntegralSeconds()
	}
	return false
}

// postMark puts a mark that is to be handed on in the ledger, under the channel whose account is the conductor's. False = there is no room.
func (c *Conductor) postMark(m *mark, lead *Lane) bool {
	if f := c.fused(); f != nil {
		lead = f.lane
	}
	return c.sink.Post(&Posting{
		Kind: Noted, Lane: lead, Epoch: lead.epoch, Mark: &m.Mark, Reason: "mark",
		Counted: charge.Totals{FromWall: m.Wall, ToWall: m.Wall},
	})
}

// mostMissing is how many seconds of readings may be missing on the way.
const mostMissing = 1

// missing tells whether readings are missing in a summary, or before it: its integral then bridges by a straight line what may have been anything.
func missing(s *plugin.Summary, of *plugin.ChannelSummary) bool {
	if of.GetReadingCount() == 0 {
		return true
	}
	span := float64(s.GetLastMonotonicNanos()-s.GetFirstMonotonicNanos()) * 1e-9
	scans := float64(s.GetLastSequence() - s.GetFirstSequence() + 1)
	interval := span / max(1, scans-1)
	unusable := float64(of.GetUnusableCount()) * interval
	return of.GetIntegralSeconds()-span-interval > mostMissing || unusable > mostMissing
}

func (c *Conductor) tellMark(m *mark, next *item) {
	c.events.operator("mark", &next.made, fmt.Sprintf("stored charge %.6g C ± %.3g C, says %s: %s", m.StoredCoulombs, m.UncertaintyCoulombs,
		orNobody(m.By), m.Note))
}

// beginMoves notes where the balances stand.
func (c *Conductor) beginMoves() (moves []Move) {
	for _, lane := range c.lanes {
		if lane.account != nil {
			moves = append(moves, Move{Lane: lane, adjustedBefore: lane.adjustment(), Before: lane.believed().ZeroCoulombs})
		}
	}
	return moves
}

// finishMoves compares them with what the estimator says now.
func (c *Conductor) finishMoves(m *Marked) {
	c.mu.Lock()
	defer c.mu.Unlock()
	for i := range m.Moves {
		move := &m.Moves[i]
		move.Now = move.Before
		if r := c.estimation.current; r != nil {
			if newest, has := r.of(move.Lane); has && newest.known {
				move.Microcoulombs = move.Lane.microcoulombs(newest.corrected) - move.adjustedBefore
				move.Now = newest.uncertainty
			}
		}
	}
}

package pipeline

import (
	"context"
	"errors"
	"math"
	"testing"
	"testing/synctest"

	"github.com/ampledger/ampledger/plugins/plugin"
)

// learning answers with an offset of 1 A, and once it has seen a second mark, with what its note says.
func learning() *observer {
	o, marks := fixed(1), 0
	answer := o.do
	o.do = func(ctx context.Context, s *plugin.Summary) (*plugin.Answer, error) {
		a, err := answer(ctx, s)
		marks += len(s.GetMarks())
		if marks > 1 {
			e := a.GetChannels()[0]
			e.CorrectionKnown, e.CorrectionCoulombs, e.CorrectionUncertaintyCoulombs = true, 12, 0.5
			a.Notes = append(a.Notes, &plugin.Note{Channel: "meter", Subject: "marks used", Text: "two of them"})
		}
		return a, err
	}
	return o
}

type markResult struct {
	marked *Marked
	err    error
}

// mark posts a mark and lets it wait for a summary.
func postMark(c *Conductor, m Mark) <-chan markResult {
	result := make(chan markResult, 1)
	go func() {
		marked, err := c.Mark(context.Background(), m)
		result <- markResult{marked, err}
	}()
	synctest.Wait()
	return result
}

// TestMarkIsCarriedToTheSummarysEnd posts a mark in the past: 8 A of the 9 A read have flowed since then for 1.5 s.
func TestMarkIsCarriedToTheSummarysEnd(t *testing.T) {
	for name, chargeIsPositive := range map[string]bool{"discharge is positive": false, "charge is positive": true} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				j, o := &journal{}, learning()
				c := liveAs(t, j, starts{"old": always(o)}, ConductorConfig{ChargeIsPositive: chargeIsPositive})
				c.Apply(t.Context(), "dev", frame(10, 9, 20, 0)) // from here the offset of 1 A is subtracted
				synctest.Wait()
				wait := postMark(c, Mark{StoredCoulombs: 1000, UncertaintyCoulombs: 2, Wall: 2.4e9})
				c.Apply(t.Context(), "dev", frame(30, 9, 10, 0))
				synctest.Wait()
				got := <-wait
				check(t, got.err)
				summaries := o.seen()
				mark := summaries[len(summaries)-1].GetMarks()[0]
				out := 8 * 1.5 // C
				passed := out - 1000
				if chargeIsPositive {
					out, passed = -out, passed+2000
				}
				if math.Abs(mark.GetPassedCoulombs()-passed) > 1e-5 || math.Abs(got.marked.Carried-out) > 1e-5 || got.marked.Wall != 3.9e9 {
					t.Errorf("passed %g C at %d, carried by %g C; want %g C, 3.9 s, %g C", mark.GetPassedCoulombs(), got.marked.Wall, got.marked.Carried, passed, out)
				}
				// The zero is known to 0.1 A: 0.15 C over 1.5 s, beside the 2 C of the mark.
				if want := math.Hypot(2, 0.15); math.Abs(mark.GetStandardUncertaintyCoulombs()-want) > 1e-6 {
					t.Errorf("uncertainty %g C, want %g C", mark.GetStandardUncertaintyCoulombs(), want)
				}
				if len(got.marked.Notes) != 0 || got.marked.Moves[0].Microcoulombs != 0 {
					t.Errorf("a first mark taught something: %+v", got.marked)
				}
				// A second mark is the first from which something follows; the answer says what.
				wait = postMark(c, Mark{StoredCoulombs: 990, UncertaintyCoulombs: 2})
				c.Apply(t.Context(), "dev", frame(40, 9, 10, 0))
				synctest.Wait()
				got = <-wait
				check(t, got.err)
				move := got.marked.Moves[0]
				if len(got.marked.Notes) != 1 || got.marked.Notes[0] != "meter: marks used: two of them" || math.Abs(move.Now-0.5) > 1e-9 || move.Microcoulombs == 0 {
					t.Errorf("the second mark: %+v", got.marked)
				}
				c.Apply(t.Context(), "dev", frame(50, 9, 10, 0))
				if a := c.Accounts()[0]; a.Adjustment != move.Microcoulombs {
					t.Errorf("the balance moved by %d µC, %d µC were told", a.Adjustment, move.Microcoulombs)
				}
			})
		})
	}
}

func TestMarksThatAreRefused(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		j := &journal{}
		c := live(t, j, starts{"old": always(learning())})
		sequence := uint64(10)
		for _, each := range []struct {
			name string
			wall int64
			want error
		}{
			{"before all that is retained", -1e9, ErrMarkOld},
			{"an hour ahead", 3600e9, ErrMarkFuture},
			{"now", 0, nil},
			{"before the mark before", 1.0e9, ErrMarkOrder},
		} {
			wait := postMark(c, Mark{StoredCoulombs: 1, UncertaintyCoulombs: 1, Wall: each.wall})
			c.Apply(t.Context(), "dev", frame(sequence, 9, 10, 0))
			synctest.Wait()
			sequence += 10
			if got := <-wait; !errors.Is(got.err, each.want) {
				t.Errorf("%s: %v, want %v", each.name, got.err, each.want)
			}
		}
	})
}

// TestMarkOverMissingReadings wants no mark carried over six seconds of which nothing was read; one for now is taken.
func TestMarkOverMissingReadings(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := live(t, &journal{}, starts{"old": always(learning())})
		c.Apply(t.Context(), "dev", frame(70, 9, 10, 0))
		synctest.Wait()
		for wall, want := range map[int64]error{0.5e9: ErrMarkGap, 5e9: ErrMarkGap} {
			wait := postMark(c, Mark{StoredCoulombs: 1, UncertaintyCoulombs: 1, Wall: wall})
			c.Apply(t.Context(), "dev", frame(c.lanes[0].next, 9, 10, 0))
			synctest.Wait()
			if got := <-wait; !errors.Is(got.err, want) {
				t.Errorf("at %d: %v, want %v", wall, got.err, want)
			}
		}
		wait := postMark(c, Mark{StoredCoulombs: 1, UncertaintyCoulombs: 1})
		c.Apply(t.Context(), "dev", frame(c.lanes[0].next, 9, 10, 0))
		synctest.Wait()
		if got := <-wait; got.err != nil {
			t.Error(got.err)
		}
	})
}

// TestMarkWithoutReadings is refused: at once where the source has come to its end, after a while where it is silent, and where the ledger has no room.
func TestMarkWithoutReadings(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		j := &journal{}
		c := live(t, j, starts{"old": always(learning())})
		m := Mark{StoredCoulombs: 1, UncertaintyCoulombs: 1}
		if _, err := c.Mark(t.Context(), m); !errors.Is(err, ErrMarkSilent) {
			t.Errorf("silent: %v", err)
		}
		j.full = true
		wait := postMark(c, m)
		c.Apply(t.Context(), "dev", frame(10, 9, 10, 0))
		synctest.Wait()
		if got := <-wait; !errors.Is(got.err, ErrMarkBusy) {
			t.Errorf("no room: %v", got.err)
		}
		c.End(t.Context(), "dev")
		if _, err := c.Mark(t.Context(), m); !errors.Is(err, ErrMarkSilent) {
			t.Errorf("ended: %v", err)
		}
	})
}

// TestOnlyTheOneInForceIsHeard lets a shadow answer at once and the estimator in force hang: who posted a mark hears nothing of the shadow.
func TestOnlyTheOneInForceIsHeard(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		gate := make(chan struct{}, 10)
		slow := fixed(1)
		answer := slow.do
		slow.do = func(ctx context.Context, s *plugin.Summary) (*plugin.Answer, error) {
			<-gate
			return answer(ctx, s)
		}
		gate <- struct{}{}
		loud := fixed(1)
		loud.do = func(ctx context.Context, s *plugin.Summary) (*plugin.Answer, error) {
			a, err := answer(ctx, s)
			a.Notes = []*plugin.Note{{Subject: "from the shadow"}}
			return a, err
		}
		c := live(t, &journal{}, starts{"old": always(slow), "loud": always(loud)})
		_, err := c.AddShadow(t.Context(), "loud", named("loud"), func(Progress) {})
		check(t, err)
		wait := postMark(c, Mark{StoredCoulombs: 1, UncertaintyCoulombs: 1})
		c.Apply(t.Context(), "dev", frame(10, 9, 10, 0))
		synctest.Wait()
		select {
		case got := <-wait:
			t.Errorf("answered by the shadow: %+v %v", got.marked, got.err)
		default:
		}
		close(gate)
		synctest.Wait()
		if got := <-wait; got.err != nil || len(got.marked.Notes) > 0 {
			t.Errorf("%+v %v", got.marked, got.err)
		}
	})
}

// TestMarkOfACallerThatLeft wants nothing of a mark whose caller left before a summary took it.
func TestMarkOfACallerThatLeft(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		o := learning()
		c := live(t, &journal{}, starts{"old": always(o)})
		ctx, cancel := context.WithCancel(t.Context())
		done := make(chan error, 1)
		go func() {
			_, err := c.Mark(ctx, Mark{StoredCoulombs: 1, UncertaintyCoulombs: 1})
			done <- err
		}()
		synctest.Wait()
		cancel()
		if err := <-done; !errors.Is(err, context.Canceled) {
			t.Error(err)
		}
		c.Apply(t.Context(), "dev", frame(10, 9, 10, 0))
		synctest.Wait()
		for _, s := range o.seen() {
			if len(s.GetMarks()) > 0 {
				t.Error("the mark was taken")
			}
		}
	})
}

func TestMarkWithoutEstimator(t *testing.T) {
	c := newConductor(t, &journal{}, ConductorConfig{})
	defer c.Close()
	if _, err := c.Mark(t.Context(), Mark{StoredCoulombs: 1, UncertaintyCoulombs: 1}); !errors.Is(err, ErrNoEstimator) {
		t.Error(err)
	}
}

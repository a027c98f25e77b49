package pipeline

import (
	"context"
	"encoding/json"
	"math"
	"testing"
	"testing/synctest"

	"github.com/google/go-cmp/cmp"

	"github.com/ampledger/ampledger/daemon/charge"
	"github.com/ampledger/ampledger/plugins/plugin"
)

// allOffset takes 1.5 A for the offset, and at its sixth summary learns that all of what was ever read is offset. Its state is what it saw.
func allOffset(t *testing.T) *observer {
	seen := struct {
		Integral  float64
		Summaries int
	}{}
	o := &observer{state: func() ([]byte, error) { return json.Marshal(seen) }}
	o.do = func(_ context.Context, s *plugin.Summary) (*plugin.Answer, error) {
		if seen.Summaries == 0 && len(o.kept.State) > 0 {
			check(t, json.Unmarshal(o.kept.State, &seen))
		}
		seen.Integral += s.GetChannels()[0].GetIntegralCoulombs()
		seen.Summaries++
		e := &plugin.ChannelEstimate{
			Name: "meter", OffsetAmperes: 1.5, StandardUncertaintyAmperes: 0.25, CorrectionKnown: true,
			CorrectionCoulombs: 0.75 * seen.Integral, CorrectionUncertaintyCoulombs: 3,
		}
		if seen.Summaries >= 6 {
			e.CorrectionCoulombs, e.CorrectionUncertaintyCoulombs = seen.Integral, 0.5
		}
		return &plugin.Answer{Channels: []*plugin.ChannelEstimate{e}}, nil
	}
	return o
}

// ledgerOf adds up what was posted, as the store would.
func (j *journal) ledgerOf() (l Ledger, last uint64) {
	for _, p := range j.postings {
		l.AdjustmentMicrocoulombs += p.AdjustmentMicrocoulombs
		l.OutMicrocoulombs += p.Counted.OutMicrocoulombs
		l.InMicrocoulombs += p.Counted.InMicrocoulombs
		l.HeldNanos += p.Counted.DurationNanos - p.Counted.AwayNanos
		l.ZeroCoulombs += p.Counted.ZeroCoulombs
		if p.AdjustmentMicrocoulombs == 0 {
			last = p.Counted.LastSequence
			l.After = &charge.After{Sequence: last, Wall: p.Counted.ToWall}
		}
	}
	return l, last
}

// TestEstimatorGoesOnAfterARestart ends the daemon after three summaries, 2 A of pure offset all the time, and goes on an hour later with the
// state that was kept. When the estimator learns, what was counted before the restart is adjusted as well: the balance of the whole ledger is 0.
// Killed instead, with two summaries posted that the state does not hold, their error stays, and the uncertainty says so.
func TestEstimatorGoesOnAfterARestart(t *testing.T) {
	for name, c := range map[string]struct {
		chargeIsPositive bool
		unseen           int // summaries posted after the state was kept
	}{
		"ended":                           {false, 0},
		"ended, charge is positive":       {true, 0},
		"killed":                          {false, 2},
		"killed, charge is positive":      {true, 2},
		"killed right after it was ended": {false, 1},
	} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				j := &journal{}
				config := ConductorConfig{ChargeIsPositive: c.chargeIsPositive}
				first := restartable(t, j, config, nil)
				feed(t, first, 0, 3)
				first.Post(t.Context())
				if len(j.kept) == 0 {
					t.Fatal("nothing was kept")
				}
				kept := throughJSON(t, j.kept[len(j.kept)-1])
				feed(t, first, 3, c.unseen)
				first.Post(t.Context())
				first.Close()

				second := restartable(t, j, config, kept)
				defer second.Close()
				feed(t, second, 3603, 4)
				second.Post(t.Context())
				ledger, _ := j.ledgerOf()
				// What only the killed one counted: 2 A less the 1.5 A that were subtracted.
				unseen := float64(c.unseen) * 0.5
				want := unseen
				if c.chargeIsPositive {
					want = -want
				}
				if got := coulombs(ledger.net() + ledger.AdjustmentMicrocoulombs); math.Abs(got-want) > 2e-6 {
					t.Errorf("the balance is %.6f C, want %.6f C", got, want)
				}
				if want := 0.5 + 0.25*float64(c.unseen); math.Abs(ledger.ZeroCoulombs-want) > 1e-6 {
					t.Errorf("its uncertainty from the zero is %.6f C, want %.6f C", ledger.ZeroCoulombs, want)
				}
			})
		})
	}
}

// restartable makes a conductor as a daemon does that finds a ledger, and what was kept.
func restartable(t *testing.T, j *journal, config ConductorConfig, kept *Kept) *Conductor {
	t.Helper()
	o := allOffset(t)
	config.Start, config.Expected = starts{"e": always(o)}.start, true
	c := unboundConductor(t, j, config)
	if kept != nil {
		ledger, _ := j.ledgerOf()
		c.Resume("meter", ledger)
		c.Restore(kept)
	}
	bindDevice(t, c)
	check(t, c.Begin(t.Context(), named("e")))
	return c
}

// feed applies summaries of ten scans of 2 A from a second on.
func feed(t *testing.T, c *Conductor, second, summaries int) {
	t.Helper()
	for i := range summaries {
		f := frame(uint64(10*(second+i)), 2, 10, 0)
		f.Epoch = uint64(1 + second/3600)
		c.Apply(t.Context(), "dev", f)
		synctest.Wait()
	}
}

func throughJSON(t *testing.T, kept *Kept) *Kept {
	t.Helper()
	text, err := json.Marshal(kept)
	check(t, err)
	read := &Kept{}
	check(t, json.Unmarshal(text, read))
	return read
}

// TestFailedEstimatorGoesOnFromItsState fails one after its state was kept, with every summary here: the next is started with that state and
// gets what came since, which is the one the first one failed at; no time has passed for it.
func TestFailedEstimatorGoesOnFromItsState(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		j, old, next := &journal{}, failing(4), fixed(2)
		given := []*observer{old, next}
		c := live(t, j, starts{"old": func() (*observer, error) { o := given[0]; given = given[1:]; return o, nil }})
		c.Apply(t.Context(), "dev", frame(10, 10, 10, 0))
		synctest.Wait()
		for i := range 3 {
			c.Apply(t.Context(), "dev", frame(uint64(20+10*i), 10, 10, 0))
			synctest.Wait()
		}
		synctest.Wait()
		waitInForce(t, c, 2)
		if string(next.kept.State) != "state" || next.kept.Away != 0 {
			t.Errorf("started with %+v", next.kept)
		}
		var firsts []uint64
		for _, s := range next.seen() {
			firsts = append(firsts, s.GetFirstSequence())
		}
		if diff := cmp.Diff([]uint64{40}, firsts); diff != "" {
			t.Errorf("summaries of the new one (-want +got):\n%s", diff)
		}
	})
}

// TestStateThatIsNotTaken starts the estimator without it and says so.
func TestStateThatIsNotTaken(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		j, o := &journal{}, fixed(1)
		c := unboundConductor(t, j, ConductorConfig{Start: starts{"e": always(o)}.start, Expected: true})
		defer c.Close()
		c.Restore(&Kept{Plugin: "e", State: []byte("spoilt")})
		bindDevice(t, c)
		check(t, c.Begin(t.Context(), named("e")))
		c.Apply(t.Context(), "dev", frame(0, 10, 10, 0))
		synctest.Wait()
		if diff := cmp.Diff([]string{"note state not restored RAISED"}, j.told()); diff != "" || len(o.seen()) != 1 {
			t.Errorf("%d summaries; events (-want +got):\n%s", len(o.seen()), diff)
		}
	})
}

// TestTheTimeAwayIsNoCurrentForAnEstimator wants the gap that a restart of the daemon is left out of the first summary's integral: the ledger
// assumes no current in it, so no offset is contained in it either.
func TestTheTimeAwayIsNoCurrentForAnEstimator(t *testing.T) {
	o := fixed(0)
	c := unboundConductor(t, &journal{}, ConductorConfig{Lockstep: true, Start: starts{"e": always(o)}.start})
	defer c.Close()
	c.Resume("meter", Ledger{After: &charge.After{Sequence: 4, Wall: -3600e9}})
	bindDevice(t, c)
	check(t, c.Begin(t.Context(), named("e")))
	c.Apply(t.Context(), "dev", frame(5, 3, 5, 0))
	if s := o.seen()[0].GetChannels()[0]; math.Abs(s.GetIntegralSeconds()-0.4) > 1e-9 || math.Abs(s.GetIntegralCoulombs()-1.2) > 1e-6 {
		t.Errorf("%g C over %g s, want 1.2 C over 0.4 s", s.GetIntegralCoulombs(), s.GetIntegralSeconds())
	}
	if got := c.Accounts()[0].Total; got.GapCount != 1 || got.AwayNanos != got.DurationNanos-4e8 {
		t.Errorf("account: %+v", got)
	}
}

// waitInForce waits until an estimator of a generation is in force.
func waitInForce(t *testing.T, c *Conductor, generation uint64) {
	t.Helper()
	for range 1000 {
		if status, has := c.Estimator(); has && status.Generation == generation {
			return
		}
		pause(t.Context(), 1e9)
	}
	t.Fatalf("generation %d is not in force", generation)
}

// TestWhatAnotherEstimatorCorrectedStays restarts an estimator whose state is older than what another one posted, 100 C among it: that stays, with its
// uncertainty, and only what the estimator learns from here on is added, also of the charge it saw itself.
func TestWhatAnotherEstimatorCorrectedStays(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		j := &journal{}
		first := restartable(t, j, ConductorConfig{}, nil)
		feed(t, first, 0, 3)
		first.Post(t.Context())
		first.Close()
		kept := throughJSON(t, j.kept[len(j.kept)-1])
		kept.Apart = true
		stated, _ := j.ledgerOf()
		j.postings = append(j.postings, Posting{Kind: Adjustment, AdjustmentMicrocoulombs: -100e6, Counted: charge.Totals{ZeroCoulombs: 7}})
		second := restartable(t, j, ConductorConfig{}, kept)
		defer second.Close()
		feed(t, second, 3603, 4) // in the third of them it learns that all it ever saw is offset
		second.Post(t.Context())
		ledger, _ := j.ledgerOf()
		if got := coulombs(ledger.net() + ledger.AdjustmentMicrocoulombs); math.Abs(got+100) > 2e-6 {
			t.Errorf("the balance is %.6f C, want the other's -100 C", got)
		}
		// The other's 7 C stay; of what was stated before, its own 3 C have become 0.5 C.
		if want := stated.ZeroCoulombs + 7 - 3 + 0.5; math.Abs(ledger.ZeroCoulombs-want) > 1e-6 {
			t.Errorf("its uncertainty from the zero is %.6f C, want %.6f C", ledger.ZeroCoulombs, want)
		}
	})
}

// TestTheLedgerIsNeverBehindTheState holds each state that is kept against what had been posted then, with postings by amount that come in between.
func TestTheLedgerIsNeverBehindTheState(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		j := &journal{}
		c := restartable(t, j, ConductorConfig{PostMicrocoulombs: 3e6}, nil)
		defer c.Close()
		c.config.PostNanos = 2.5e9
		feed(t, c, 0, 30)
		if len(j.kept) < 5 {
			t.Fatalf("%d states", len(j.kept))
		}
		for i, kept := range j.kept {
			if held := j.heldAtKeep[i]; kept.Channels["meter"].Nanos > held {
				t.Errorf("state %d knows %d ns, the ledger %d ns", i, kept.Channels["meter"].Nanos, held)
			}
		}
	})
}

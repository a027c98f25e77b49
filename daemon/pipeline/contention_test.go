package pipeline

import (
	"context"
	"errors"
	"math"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/ampledger/ampledger/plugins/plugin"
)

// TestRevertAfterARestart goes to who was in force before, not to the process that crashed.
func TestRevertAfterARestart(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		j, started := &journal{}, 0
		c := live(t, j, starts{"new": func() (*observer, error) {
			if started++; started == 1 {
				return failing(2), nil
			}
			return fixed(5), nil
		}})
		_, err := c.Swap(t.Context(), named("new"), Trial{}, func(Progress) {})
		check(t, err)
		for second := range uint64(10) {
			c.Apply(t.Context(), "dev", frame(10+10*second, 10, 10, 0))
			pause(t.Context(), time.Second) // of the bubble's time
			synctest.Wait()
		}
		if _, o := inForce(t, c, j, 110); o != 5 || started != 2 {
			t.Fatalf("offset %g is in force, it was started %d times", o, started)
		}
		_, err = c.Revert(t.Context(), func(Progress) {})
		check(t, err)
		if _, o := inForce(t, c, j, 120); o != 1 {
			t.Errorf("reverted to offset %g", o)
		}
	})
}

// TestATrialWaitsForWhatElseIsStarted: at its end another estimator is being started; the candidate takes over when that is done. A user's
// shadow that has the name a trial would choose is not mistaken for it.
func TestATrialWaitsForWhatElseIsStarted(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		j, let := &journal{}, make(chan struct{})
		slow := fixed(7)
		answer := slow.do
		slow.do = func(ctx context.Context, s *plugin.Summary) (*plugin.Answer, error) {
			<-let
			return answer(ctx, s)
		}
		c := live(t, j, starts{"new": always(fixed(2)), "mine": always(fixed(9)), "slow": always(slow)})
		_, err := c.AddShadow(t.Context(), "candidate-3", named("mine"), func(Progress) {})
		check(t, err)
		ended, added := make(chan error, 1), make(chan error, 1)
		go func() {
			_, err := c.Swap(t.Context(), named("new"), Trial{For: time.Minute}, func(Progress) {})
			ended <- err
		}()
		synctest.Wait()
		pause(t.Context(), 50*time.Second) // of the bubble's time
		go func() {
			_, err := c.AddShadow(t.Context(), "other", named("slow"), func(Progress) {})
			added <- err
		}()
		pause(t.Context(), 20*time.Second)
		synctest.Wait()
		if len(ended) > 0 {
			t.Fatalf("the trial ended with %v while a shadow was being started", <-ended)
		}
		close(let)
		check(t, <-added)
		check(t, <-ended)
		if _, o := inForce(t, c, j, 10); o != 2 {
			t.Errorf("offset %g is in force", o)
		}
	})
}

// TestATrialEndsWithItsCandidate: one that fails in the first hour of a week is told then.
func TestATrialEndsWithItsCandidate(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := live(t, &journal{}, starts{"new": always(failing(1))})
		began := time.Now()
		ended := make(chan error, 1)
		go func() {
			_, err := c.Swap(t.Context(), named("new"), Trial{For: 7 * 24 * time.Hour}, func(Progress) {})
			ended <- err
		}()
		synctest.Wait()
		c.Apply(t.Context(), "dev", frame(10, 10, 10, 0))
		if err := <-ended; err == nil || err.Error() != "estimator broken: it is" || time.Since(began) > time.Minute {
			t.Errorf("after %v: %v", time.Since(began), err)
		}
	})
}

// TestARestartDoesNotWaitForAShadow: the estimator in force fails while a shadow is being warmed up; the shadow gives way.
func TestARestartDoesNotWaitForAShadow(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		j, started := &journal{}, 0
		c := live(t, j, starts{"slow": always(hanging()), "old": func() (*observer, error) {
			if started++; started == 1 {
				return failing(1), nil
			}
			return fixed(3), nil
		}})
		added := make(chan error, 1)
		go func() {
			_, err := c.AddShadow(t.Context(), "other", named("slow"), func(Progress) {})
			added <- err
		}()
		synctest.Wait()
		c.Apply(t.Context(), "dev", frame(10, 10, 10, 0)) // it fails
		pause(t.Context(), 5*time.Second)                 // of the bubble's time
		synctest.Wait()
		if err := <-added; !errors.Is(err, errYield) {
			t.Errorf("the shadow ended with %v", err)
		}
		if _, o := inForce(t, c, j, 20); o != 3 {
			t.Errorf("offset %g is in force", o)
		}
	})
}

// TestTwoCutOversWithinASummary: both are in the ledger, though the first one was in force for no reading.
func TestTwoCutOversWithinASummary(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		j := &journal{}
		c := live(t, j, starts{"b": always(fixed(2)), "c": always(fixed(3))})
		for _, name := range []string{"b", "c"} {
			_, err := c.Swap(t.Context(), named(name), Trial{}, func(Progress) {})
			check(t, err)
		}
		c.Apply(t.Context(), "dev", frame(10, 10, 10, 0))
		posted := j.adjustments()
		if len(posted) != 1 || !strings.Contains(posted[0].Reason, "then b, generation 2") || !strings.Contains(posted[0].Reason, "then c, generation 3") {
			t.Errorf("posted %+v", posted)
		}
	})
}

// TestAShadowThatIsRemovedIsForgotten: nobody tries to start it again.
func TestAShadowThatIsRemovedIsForgotten(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		started := 0
		c := live(t, &journal{}, starts{"beside": func() (*observer, error) { started++; return nil, errors.New("estimator beside: out of order") }})
		_ = c.BeginShadow(t.Context(), "mine", named("beside"))
		pause(t.Context(), 100*time.Millisecond) // of the bubble's time
		check(t, c.RemoveShadow("mine"))
		synctest.Wait()
		was := started
		pause(t.Context(), time.Hour)
		if started != was {
			t.Errorf("it was started %d times more", started-was)
		}
	})
}

// TestSkippedSummariesMoveNothing: an estimator that states what the charge is off by is not given a hundred summaries. What flowed in them stays as it
// was counted: it knows nothing of them.
func TestSkippedSummariesMoveNothing(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		j, let := &journal{}, make(chan struct{})
		seen, filter := 0.0, fixed(2)
		filter.do = func(_ context.Context, s *plugin.Summary) (*plugin.Answer, error) {
			if seen++; seen == 2 {
				<-let
			}
			return &plugin.Answer{Channels: []*plugin.ChannelEstimate{{
				Name: "meter", OffsetAmperes: 2, StandardUncertaintyAmperes: 0.01, CorrectionKnown: true, CorrectionCoulombs: 2 * seen,
			}}}, nil
		}
		c := live(t, j, starts{"old": always(filter)}) // of pure offset: 2 A are read, none flow
		const summaries = queuedSummaries + 100
		for k := range uint64(summaries) {
			c.Apply(t.Context(), "dev", frame(10+10*k, 2, 10, 0))
		}
		close(let)
		synctest.Wait()
		c.Apply(t.Context(), "dev", frame(10+10*summaries, 2, 10, 0))
		synctest.Wait()
		c.Post(t.Context())
		status, _ := c.Estimator()
		account := c.Accounts()[0]
		balance := coulombs(account.Total.Net() + account.Adjustment)
		if status.Skipped < 90 || math.Abs(balance) > 12 { // the first second and the skew of live() count 10 A
			t.Errorf("%d summaries skipped, the balance is %.3f C", status.Skipped, balance)
		}
	})
}

// TestNotesAreBounded: of what the estimator in force has to say a hundred and twenty things an hour become events, and one that says how many did not.
func TestNotesAreBounded(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		j, talker := &journal{}, fixed(1)
		answer := talker.do
		talker.do = func(ctx context.Context, s *plugin.Summary) (*plugin.Answer, error) {
			a, err := answer(ctx, s)
			for range 10 {
				a.Notes = append(a.Notes, &plugin.Note{Subject: "heard", Text: "again"})
			}
			return a, err
		}
		c := live(t, j, starts{"old": always(talker)})
		for k := range uint64(30) {
			c.Apply(t.Context(), "dev", frame(10+10*k, 10, 10, 0))
			synctest.Wait()
		}
		notes := func(subject string) (n int) {
			for _, e := range j.events {
				if e.GetKind() == "note" && e.GetElement() == subject {
					n++
				}
			}
			return n
		}
		if n := notes("heard"); n != mostNotesHour {
			t.Errorf("%d notes became events", n)
		}
		c.Apply(t.Context(), "dev", frame(40_000, 10, 10, 0)) // an hour later
		synctest.Wait()
		c.Apply(t.Context(), "dev", frame(40_010, 10, 10, 0))
		if n := notes("notes left out"); n != 1 {
			t.Errorf("%d events say that notes were left out", n)
		}
	})
}

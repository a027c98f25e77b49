package daemon_test

import (
	"errors"
	"math"
	"path/filepath"
	"strings"
	"testing"

	"github.com/ampledger/ampledger/daemon/store"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// TestWhatAnEstimatorLearntOutlivesTheDaemon runs twice on one state, with a rest at the beginning of the first run and none in the second:
// there the zero is still known, and so is the uncertainty of the whole balance. A state that cannot be used is told, and costs what
// was learnt, no reading.
func TestWhatAnEstimatorLearntOutlivesTheDaemon(t *testing.T) {
	// 60 s take 3 s at its speed: an estimator that starts late on a busy machine still answers before the readings end.
	text := strings.Replace(simulated(60, ""), "{plugin: fixedzero, with: {minimum_rest_seconds: 0.5}}", "{plugin: biasfilter}", 1)
	first, _ := load(t, text)
	s := serve(t, first)
	follow(t, s)
	magneticOffset(t, s)
	s.stop()

	second, _ := load(t, strings.Replace(text, "{seconds: 1, contactor_open: true}, ", "", 1))
	second.State = first.State
	s = serve(t, second)
	follow(t, s)
	if offset, u := magneticOffset(t, s); math.Abs(offset-1.1) > 0.2 || u > 0.2 {
		t.Errorf("after the restart the zero is %.3f A ± %.3f A, it is 1.1 A and was learnt before", offset, u)
	}
	if zero := statementOf(t, s).GetUncertainty().GetZeroCoulombs(); zero > 1.5 {
		t.Errorf("the balance of both runs is off by up to %.3f C from the zero (standard), as if nothing had been learnt", zero)
	}
	s.stop()

	spoil(t, filepath.Join(first.State, "ampledger.sqlite"))
	s = serve(t, second)
	follow(t, s)
	if _, u := magneticOffset(t, s); u < 0.5 {
		t.Errorf("with its state lost the zero is known to %.3f A", u)
	}
	events, err := s.Abuse.ListEvents(s.ctx, &ampledgerv1.ListEventsRequest{})
	if err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(events.String(), "state not restored") {
		t.Error("nobody was told that the state is lost")
	}
}

// magneticOffset gives the newest estimate; the estimator may start after the last reading, and is then warmed up with what was retained.
func magneticOffset(t *testing.T, s *served) (offset, uncertainty float64) {
	t.Helper()
	for s.ctx.Err() == nil {
		response, err := s.Estimators.ListEstimators(s.ctx, &ampledgerv1.ListEstimatorsRequest{})
		if err != nil {
			t.Fatal(err)
		}
		for _, estimator := range response.GetEstimators() {
			if all := estimator.GetEstimates(); len(all) > 0 {
				return all[0].GetOffsetAmperes(), all[0].GetStandardUncertaintyAmperes()
			}
		}
	}
	t.Fatal("the estimator gave no estimate")
	return 0, 0
}

// spoil puts a state in the store that is none.
func spoil(t *testing.T, file string) {
	t.Helper()
	on, err := store.Open(file)
	if err != nil {
		t.Fatal(err)
	}
	defer on.Close()
	err = on.PutSnapshot(t.Context(), store.Snapshot{Conductor: "pack", Plugin: "biasfilter", State: []byte(`{"plugin": "biasfilter", "state": "bm9uZQ=="}`)})
	if err != nil {
		t.Fatal(err)
	}
}

// TestAClockSetWhileAwayIsLeftOut says that the wall clock was set back by an hour while the daemon was away: the time away is what the machine's
// other clock tells, an hour more than the labels do, and the ledger says why.
func TestAClockSetWhileAwayIsLeftOut(t *testing.T) {
	c, _ := load(t, simulated(2, ""))
	s := serve(t, c)
	follow(t, s)
	s.stop()
	on, err := store.Open(filepath.Join(c.State, "ampledger.sqlite"))
	if err != nil {
		t.Fatal(err)
	}
	clock, err := on.Clock(t.Context())
	if err != nil || clock.BootID == "" {
		t.Fatal(clock, err)
	}
	clock.WallNanos += 3600e9
	if err := errors.Join(on.PutClock(t.Context(), clock), on.Close()); err != nil {
		t.Fatal(err)
	}
	s = serve(t, c)
	follow(t, s)
	gaps := statementOf(t, s).GetLongestGaps()
	if len(gaps) != 1 || gaps[0].GetDurationNanos() < 3590e9 || gaps[0].GetDurationNanos() > 3660e9 {
		t.Errorf("gaps: %v, want one of an hour", gaps)
	}
	s.stop()
	left, err := store.OpenReader(filepath.Join(c.State, "ampledger.sqlite"))
	if err != nil {
		t.Fatal(err)
	}
	defer left.Close()
	opening, err := left.NewestEntry(t.Context(), store.Filter{Kinds: []store.Kind{store.Opening}})
	if err != nil || !strings.Contains(opening.Reason, "set by -1h0m0s while it was away") {
		t.Errorf("opening: %q (%v)", opening.Reason, err)
	}
}

package pipeline

import (
	"context"
	"encoding/json"
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/testing/protocmp"

	"github.com/ampledger/ampledger/daemon/scan"
	"github.com/ampledger/ampledger/plugins/plugin"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// swinging is so many scans at 10 Hz of a current that goes over the pickup of 50 A again and again, drawn by a seed.
func swinging(scans int) []float64 {
	random := rand.New(rand.NewPCG(1, 2))
	amperes := make([]float64, scans)
	for k := range amperes {
		amperes[k] = 50 + 30*math.Sin(float64(k)/3) + random.NormFloat64()
	}
	return amperes
}

// output is all that a conductor gave but what it tells of its estimator.
type output struct {
	amperes  []uint64 // bits
	zeros    []uint64
	frames   []scan.Estimate
	events   []*ampledgerv1.Event
	postings []Posting
}

func outputOf(j *journal) (o output) {
	for _, y := range j.amperes {
		o.amperes = append(o.amperes, math.Float64bits(y))
	}
	for _, u := range j.zeros {
		o.zeros = append(o.zeros, math.Float64bits(u))
	}
	o.frames = j.frames
	o.events = slices.DeleteFunc(slices.Clone(j.events), func(e *ampledgerv1.Event) bool { return e.GetKind() == "estimator" })
	o.postings = j.postings
	return o
}

// give takes a duty through a conductor, ten scans at a time, each second as long as it is; the estimator answers in between.
func give(t *testing.T, c *Conductor, first uint64, amperes []float64) {
	t.Helper()
	for ; len(amperes) > 0; amperes = amperes[10:] {
		f := frame(first, 0, 10, 0)
		copy(f.Columns[0].Values, amperes)
		c.Apply(t.Context(), "dev", f)
		synctest.Wait()
		pause(t.Context(), time.Second)
		first += 10
	}
}

// killed, hanging and well are estimators that give one and the same estimate in the first summary: then the first one is gone for good, the second
// says nothing more, and the third goes on saying the same.
func killedForGood() starts {
	begun := false
	return starts{"old": func() (*observer, error) {
		if begun {
			return nil, errors.New("estimator old: gone for good")
		}
		begun = true
		return failing(1), nil
	}}
}

func hangingAfterOne() starts {
	o, first := fixed(1), true
	answer := o.do
	o.do = func(ctx context.Context, s *plugin.Summary) (*plugin.Answer, error) {
		if !first {
			<-ctx.Done()
			return nil, ctx.Err()
		}
		first = false
		return answer(ctx, s)
	}
	return starts{"old": always(o)}
}

// TestGuardDoesNotFeelTheEstimatorsDeath takes one current through a conductor whose estimator dies, hangs or lives on: with the same estimate held,
// every bit of readings and events is the same. A dead one and one that hangs are the same in what is posted too, and also when the estimate is stale.
func TestGuardDoesNotFeelTheEstimatorsDeath(t *testing.T) {
	run := func(s starts, scans int) (o output) {
		synctest.Test(t, func(t *testing.T) {
			j := &journal{}
			c := live(t, j, s)
			give(t, c, 10, swinging(scans))
			o = outputOf(j)
		})
		return o
	}
	compare := func(what string, a, b output) {
		t.Helper()
		if diff := cmp.Diff(a, b, cmp.AllowUnexported(output{}), protocmp.Transform(), cmp.Comparer(func(a, b *Lane) bool { return a.Name == b.Name })); diff != "" {
			t.Errorf("%s:\n%s", what, diff)
		}
	}
	const brief, long = 40, 400 // scans: an estimate is stale after 50
	dead, mute, well := run(killedForGood(), brief), run(hangingAfterOne(), brief), run(starts{"old": always(fixed(1))}, brief)
	if operated := slices.ContainsFunc(dead.events, func(e *ampledgerv1.Event) bool {
		return e.GetState() == ampledgerv1.EventState_EVENT_STATE_OPERATED && e.GetOffsetAmperes() == 1
	}); !operated {
		t.Errorf("no element operated under the held offset: this shows little")
	}
	compare("dead and mute", dead, mute)
	for _, o := range []*output{&dead, &well} { // the estimate is the same and of another age, and what each answer says of the charge before is posted
		o.postings = nil
		for k := range o.frames {
			o.frames[k].Age = 0
		}
	}
	compare("dead and well", dead, well)
	dead, mute = run(killedForGood(), long), run(hangingAfterOne(), long)
	if !dead.frames[len(dead.frames)-1].Stale {
		t.Error("the estimate is not stale at the end: this shows little")
	}
	compare("dead and mute, stale", dead, mute)
}

// averaging gives as the offset a share of the mean of all summaries that it ever saw, and what that would have been of the charge before: all that it
// was told shows in each bit, and can be restored.
func averaging() (*observer, error) {
	var seen struct{ Sum, Count float64 }
	o, begun := &observer{}, false
	o.state = func() ([]byte, error) { return json.Marshal(seen) }
	o.do = func(_ context.Context, s *plugin.Summary) (*plugin.Answer, error) {
		if !begun && o.kept.State != nil {
			if err := json.Unmarshal(o.kept.State, &seen); err != nil {
				return nil, err
			}
		}
		begun = true
		seen.Count++
		seen.Sum += s.GetChannels()[0].GetMeanAmperes() / 50
		return &plugin.Answer{Channels: []*plugin.ChannelEstimate{{
			Name: "meter", OffsetAmperes: seen.Sum / seen.Count, StandardUncertaintyAmperes: 1 / math.Sqrt(seen.Count),
			WalkAmperesPerRootSecond: 0.001 * seen.Count, CorrectionKnown: true, CorrectionCoulombs: seen.Sum, CorrectionUncertaintyCoulombs: seen.Count,
		}}}, nil
	}
	return o, nil
}

// TestSwapForAnEqualChangesNoBit takes one current through two conductors, each answer waited for before the next scan comes, as in lockstep; in one of
// them the estimator is swapped for its equal, and later back. Nothing differs but the generation, to
// the last bit, and that the first adjustment of each says that it comes of a swap.
func TestSwapForAnEqualChangesNoBit(t *testing.T) {
	run := func(swaps bool) (o output) {
		synctest.Test(t, func(t *testing.T) {
			j := &journal{}
			c := live(t, j, starts{"old": averaging, "new": averaging})
			amperes := swinging(600)
			for k := range 3 {
				give(t, c, uint64(10+200*k), amperes[200*k:200*k+200])
				if swaps && k == 0 {
					_, err := c.Swap(t.Context(), named("new"), Trial{}, func(Progress) {})
					check(t, err)
				}
				if swaps && k == 1 {
					_, err := c.Revert(t.Context(), func(Progress) {})
					check(t, err)
				}
				synctest.Wait() // it has worked off all that was retained
			}
			o = outputOf(j)
		})
		return o
	}
	kept, swapped := run(false), run(true)
	if last := swapped.frames[len(swapped.frames)-1]; last.Generation != 3 || last.Offset == 0 {
		t.Errorf("at the end generation %d, offset %g is in force", last.Generation, last.Offset)
	}
	for k := range swapped.frames {
		swapped.frames[k].Generation, swapped.frames[k].Estimator = kept.frames[k].Generation, kept.frames[k].Estimator
	}
	for _, e := range swapped.events {
		e.EstimatorGeneration, e.Estimator = min(e.GetEstimatorGeneration(), 1), kept.events[0].GetEstimator()
	}
	swaps := 0
	for k := range swapped.postings {
		if strings.HasPrefix(swapped.postings[k].Reason, "swap at sequence ") { // as is said of the first adjustment that the new one makes
			swaps++
			swapped.postings[k].Reason = kept.postings[k].Reason
		}
		swapped.postings[k].Generation, swapped.postings[k].Estimator = min(swapped.postings[k].Generation, 1), kept.postings[k].Estimator
	}
	if swaps != 2 {
		t.Errorf("%d adjustments say that they come of a swap, want 2", swaps)
	}
	if diff := cmp.Diff(kept, swapped, cmp.AllowUnexported(output{}), protocmp.Transform(), cmp.Comparer(func(a, b *Lane) bool { return a.Name == b.Name })); diff != "" {
		t.Errorf("what changed with the swaps (-without +with):\n%s", diff)
	}
}

package pipeline

import (
	"context"
	"fmt"
	"math"
	"testing"

	"github.com/google/go-cmp/cmp"

	"github.com/ampledger/ampledger/daemon/pluginhost"
	"github.com/ampledger/ampledger/plugins/plugin"
)

// correcting answers each summary with an offset and with what its integral is too large by since the first summary it saw.
func correcting(offset float64, correction func(integral float64, summaries int) (coulombs, uncertainty float64)) *observer {
	integral, n := 0.0, 0
	return &observer{do: func(_ context.Context, s *plugin.Summary) (*plugin.Answer, error) {
		c := s.GetChannels()[0]
		integral += c.GetIntegralCoulombs()
		n++
		coulombs, u := correction(integral, n)
		return &plugin.Answer{Channels: []*plugin.ChannelEstimate{{
			Name: "meter", OffsetAmperes: offset, CorrectionKnown: true, CorrectionCoulombs: coulombs, CorrectionUncertaintyCoulombs: u,
		}}}, nil
	}}
}

// posted gives the adjustments as lines and the balance that all postings add up to, in µC.
func (j *journal) posted() (adjustments []string, balance int64) {
	for _, p := range j.postings {
		balance += p.Counted.Net() + p.AdjustmentMicrocoulombs
		if p.AdjustmentMicrocoulombs != 0 {
			adjustments = append(adjustments, fmt.Sprintf("%.3f C: %s", float64(p.AdjustmentMicrocoulombs)/1e6, p.Reason))
		}
	}
	return adjustments, balance
}

// TestWhatIsLearnedLaterIsAdjusted runs 2 A of pure offset for four summaries (ten scans at 10 Hz each). The estimator takes 1.5 A for the
// offset; in the third summary it learns that all of it was. What was counted before is adjusted, with the reason; the balance is 0.
func TestWhatIsLearnedLaterIsAdjusted(t *testing.T) {
	for name, chargeIsPositive := range map[string]bool{"discharge is positive": false, "charge is positive": true} {
		t.Run(name, func(t *testing.T) {
			j := &journal{}
			o := correcting(1.5, func(integral float64, n int) (float64, float64) {
				if n < 3 {
					return 0.75 * integral, 0.5
				}
				return integral, 0.1
			})
			c := newConductor(t, j, ConductorConfig{
				Lockstep: true, ChargeIsPositive: chargeIsPositive, AdjustMicrocoulombs: 1.6e6, Start: starts{"e": always(o)}.start,
			})
			defer c.Close()
			check(t, c.Begin(t.Context(), named("e")))
			for i := range 4 {
				c.Apply(t.Context(), "dev", frame(uint64(10*i), 2, 10, float64(i/2)))
			}
			c.End(t.Context(), "dev")
			adjustments, balance := j.posted()
			// After the first summary 1.35 C are to be subtracted later, less than the threshold; in the third, all that is left of 5.8 C.
			account := c.Accounts()[0]
			if want := -account.Total.Net(); account.Adjustment != want {
				t.Errorf("adjustment is %d µC, the account holds %d µC that never flowed", account.Adjustment, -want)
			}
			if balance != 0 {
				t.Errorf("the postings' balance is %d µC", balance)
			}
			if len(adjustments) != 2 || adjustments[0][len(adjustments[0])-4:] != "rest" {
				t.Errorf("adjustments: %q, want one learned in a rest and the last one", adjustments)
			}
			if u := account.Total.Uncertainty(); math.Abs(u.Zero-0.1) > 1e-9 || u.Gain != 0 {
				t.Errorf("uncertainty %+v, want the estimator's 0.1 C as that of the zero", u)
			}
		})
	}
}

// TestCorrectionsOfASecondEstimatorCountFromItsFirstSummary swaps estimators that both state corrections: the second one's counts from its first summary on, which
// is the first retained one, so the balance follows it alone.
func TestCorrectionsOfASecondEstimatorCountFromItsFirstSummary(t *testing.T) {
	j := &journal{}
	first := correcting(1, func(integral float64, _ int) (float64, float64) { return 0.5 * integral, 0.3 })
	second := correcting(2, func(integral float64, _ int) (float64, float64) { return integral, 0.2 })
	c := newConductor(t, j, ConductorConfig{Start: starts{"a": always(first), "b": always(second)}.start})
	defer c.Close()
	ctx := t.Context()
	check(t, c.Begin(ctx, named("a")))
	c.Apply(ctx, "dev", frame(0, 2, 10, 0))
	for c.estimation.current.failure() == nil && len(first.seen()) < 1 {
		<-c.estimation.current.answered
	}
	_, err := c.Swap(ctx, named("b"), Trial{}, func(Progress) {})
	check(t, err)
	account := c.Accounts()[0]
	if got, want := account.Adjustment+account.Total.Net(), int64(0); got != want {
		t.Errorf("balance after the swap is %d µC, the second estimator says that nothing flowed", got)
	}
	if u := account.Total.ZeroCoulombs; math.Abs(u-0.2) > 1e-9 {
		t.Errorf("uncertainty is %g C, the second estimator says 0.2 C", u)
	}
}

// seen copies the summaries so far.
func (o *observer) seen() []*plugin.Summary {
	o.mu.Lock()
	defer o.mu.Unlock()
	return append([]*plugin.Summary{}, o.summaries...)
}

// TestSummariesCarryTheirIntegral wants the integrals of the summaries to add up to the account before any offset, also over a gap, and the
// play means that were asked for.
func TestSummariesCarryTheirIntegral(t *testing.T) {
	o := fixed(0.25)
	start := func(context.Context, Candidate, plugin.Conductor, pluginhost.Kept, func(Step)) (Started, error) {
		return Started{Observer: o, HalfWidths: map[string][]float64{"meter": {1, 4}}}, nil
	}
	c := newConductor(t, &journal{}, ConductorConfig{Lockstep: true, Start: start})
	defer c.Close()
	check(t, c.Begin(t.Context(), named("e")))
	c.Apply(t.Context(), "dev", frame(0, 3, 10, 0))
	c.Apply(t.Context(), "dev", frame(17, 5, 13, 0)) // seven scans are lost: 0.8 s on a straight line from 3 A to 5 A
	c.End(t.Context(), "dev")
	integral, seconds := 0.0, 0.0
	var plays [][]float64
	for _, s := range o.summaries {
		integral += s.GetChannels()[0].GetIntegralCoulombs()
		seconds += s.GetChannels()[0].GetIntegralSeconds()
		plays = append(plays, s.GetChannels()[0].GetPlayMeanRatios())
	}
	if want := 0.9*3 + 0.8*4 + 1.2*5; math.Abs(integral-want) > 2e-6 || math.Abs(seconds-2.9) > 1e-9 {
		t.Errorf("integrals add up to %.6f C over %.3f s, want %.6f C over 2.9 s", integral, seconds, want)
	}
	// From 3 A to 5 A: the narrow operator is displaced wholly, the wide one by half its width.
	if diff := cmp.Diff([][]float64{{0, 0}, {1, 0.5}, {1, 0.5}}, plays); diff != "" {
		t.Errorf("play means (-want +got):\n%s", diff)
	}
}

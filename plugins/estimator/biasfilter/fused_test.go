package biasfilter

import (
	"math"
	"strings"
	"testing"
	"time"

	"github.com/ampledger/ampledger/plugins/plugin"
)

// mixing gives a script's summaries a fused current of constant weights.
func mixing(s *script, weights ...float64) *script {
	s.change = func(of *plugin.Summary) {
		of.Fused = &plugin.Fused{}
		for i, c := range of.GetChannels() {
			of.Fused.IntegralSeconds += weights[i] * c.GetIntegralSeconds()
			if weights[i] != 0 {
				of.Fused.Shares = append(of.Fused.Shares, &plugin.FusedShare{
					Name: c.GetName(), WeightSeconds: weights[i] * c.GetIntegralSeconds(), IntegralCoulombs: weights[i] * c.GetIntegralCoulombs(),
				})
			}
		}
	}
	return s
}

// holds wants the fused charge to be known to within so much.
func (s *script) holds(what string, truth, within float64) {
	s.Helper()
	b, u := s.Fused().GetCorrectionCoulombs(), s.Fused().GetCorrectionUncertaintyCoulombs()
	if !(math.Abs(b-truth) <= 1.96*u && u <= within) {
		s.Errorf("%s: B_f = %.6g C ± %.3g C (σ), truth %.6g C, σ at most %g C", what, b, u, truth, within)
	}
}

// All weight on one channel: the fused charge is that channel's, to the last digits, through load, rests, holes, a false rest, a zero that jumps.
func TestFusedOfOneChannelIsThatChannel(t *testing.T) {
	s := mixing(pair(t, with{"residual_amperes": 0.02, "reopen_seconds": 300}), 0, 1)
	mix := s.change
	s.change = func(of *plugin.Summary) {
		switch s.count {
		case 500, 1210: // under load and in a rest
			of.FirstSequence, of.LastSequence = of.FirstSequence+100, of.LastSequence+100
			s.nanos += 10e9
			of.FirstMonotonicNanos, of.LastMonotonicNanos = of.FirstMonotonicNanos+10e9, of.LastMonotonicNanos+10e9
			for _, c := range of.GetChannels() {
				c.IntegralSeconds, c.IntegralCoulombs = c.IntegralSeconds+10, c.IntegralCoulombs+100
			}
			s.count++
		}
		mix(of)
	}
	for _, part := range []struct {
		seconds    float64
		rest       bool
		good, poor float64
	}{
		{600, true, 0.05, 0.6}, {10000, false, 50.05, 50.6}, {1500, true, 0.05, 0.6}, {3000, false, -20, -19.4},
		{1000, true, 20, 20.6}, {2000, false, 30, 31.2}, {900, true, 0.05, 1.9}, {500, false, 30.05, 31.9},
	} {
		kind := restNone
		if part.rest {
			kind = restCertain
		}
		s.over(part.seconds, kind, part.good, part.poor)
		at, f := s.channels[1].at.charge, s.filter
		b, u := f.x[at], math.Sqrt(f.p[at*f.n+at])
		if got := s.Fused(); math.Abs(got.GetCorrectionCoulombs()-b) > 1e-9*(1+math.Abs(b)) || math.Abs(got.GetCorrectionUncertaintyCoulombs()-u) > 1e-9*(1+u) {
			t.Errorf("%+v: fused %v, the channel %v C ± %v C", part, got, b, u)
		}
	}
	if told := strings.Join(s.told(), ", "); !strings.Contains(told, "rest rejected") || !strings.Contains(told, "prior re-opened") {
		t.Errorf("notes: %s", told)
	}
}

// A rest corrects what was counted of a mean of two channels, though one had no weight all the while.
func TestRestCorrectsTheFusedCharge(t *testing.T) {
	s := mixing(pair(t, nil), 0.8, 0.2)
	s.over(day, restNone, 50.1, 50.8)
	const offset = 0.8*0.1 + 0.2*0.8
	s.holds("before", offset*day, 30000)
	s.over(600, restCertain, 0.1, 0.8)
	s.holds("after", offset*(day+600), 2000)
	mixing(s, 0, 1)
	s.over(day, restNone, 50.1, 50.8)
	mixing(s, 1, 0)
	s.over(600, restCertain, 0.1, 0.8)
	s.holds("other weights", offset*(day+600)+0.8*day+0.1*600, 10000)
	s.change = nil
	s.next(restNone, 50.1, 50.8)
	if s.Fused() != nil || s.Covariances() != nil {
		t.Error("something is said of a fused current that is not there")
	}
}

// The gain's error has a share in what flowed, as the weights have it.
func TestFusedGain(t *testing.T) {
	s := mixing(pair(t, with{"difference_floor_amperes": 1e6, "channels": with{"good": with{"gain_error_ratio": 0.01}, "poor": with{"gain_error_ratio": 0.02}}}), 0.5, 0.5)
	s.over(600, restCertain, 0, 0)
	s.over(7200, restNone, 100)
	near(t, "σ of 100 A for two hours", s.Fused().GetCorrectionUncertaintyCoulombs(), 7200*100*math.Hypot(0.005, 0.01), 0.02)
}

// A channel of another device than the summary's brings its share all the same.
func TestFusedOfTwoDevices(t *testing.T) {
	s := mixing(pair(t, nil), 0.5, 0.5)
	mix := s.change
	s.over(600, restCertain, 0.1, 0.8)
	s.change = func(of *plugin.Summary) {
		mix(of)
		of.Channels = of.Channels[:1]
	}
	before := s.Fused().GetCorrectionCoulombs()
	s.over(1000, restNone, 50.1, 50.8)
	near(t, "B_f of 1000 s", s.Fused().GetCorrectionCoulombs()-before, 450, 0.02)
}

// While a regressor moves a channel's own variance is wider, as its estimate's is.
func TestCovariancesWidenAsRegressorsMove(t *testing.T) {
	s := mixing(pair(t, with{"channels": with{"good": with{"hysteresis_amperes": 0.2, "hysteresis_operators": 1, "gain_error_ratio": 0}}}), 1, 0)
	mix, z := s.change, -1.0
	s.change = func(of *plugin.Summary) {
		mix(of)
		of.Channels[0].PlayMeanRatios[0] = z
	}
	s.over(600, restCertain, 0.1, 0.8)
	z = 0
	s.next(restNone, 50)
	for _, c := range s.Covariances()[:1] {
		near(t, c.GetFirst()+" "+c.GetSecond(), math.Sqrt(c.GetSquareAmperes()), s.last.GetStandardUncertaintyAmperes(), 1e-9)
	}
}

// Shares that cannot be: one of an unknown channel is a fault, figures that are none are passed over.
func TestSickShares(t *testing.T) {
	s := pair(t, nil)
	s.over(600, restCertain, 0.1, 0.8)
	for _, v := range []float64{math.NaN(), math.Inf(1), -1, math.MaxFloat64} {
		for _, share := range []*plugin.FusedShare{{Name: "good", WeightSeconds: v, IntegralCoulombs: 5}, {Name: "good", WeightSeconds: 10, IntegralCoulombs: v}} {
			s.change = func(of *plugin.Summary) { of.Fused = &plugin.Fused{Shares: []*plugin.FusedShare{share}} }
			s.next(restNone, 50)
			if f := s.Fused(); !finite(f.GetCorrectionCoulombs()) || !(f.GetCorrectionUncertaintyCoulombs() >= 0) {
				t.Errorf("%v: %v", share, f)
			}
		}
	}
	_, err := s.Observe(&plugin.Summary{Fused: &plugin.Fused{Shares: []*plugin.FusedShare{{Name: "nobody"}}}})
	if err == nil || !strings.Contains(err.Error(), `"nobody"`) {
		t.Errorf("error %v", err)
	}
}

// Two channels that rested together share the residual current; at 100 A each has its own gain error beside it.
func TestCovariances(t *testing.T) {
	s := mixing(pair(t, with{"residual_amperes": 0.3, "difference_floor_amperes": 1e6, "channels": with{"good": with{"gain_error_ratio": 0.01}, "poor": with{"gain_error_ratio": 0.02}}}), 0.5, 0.5)
	s.over(600, restCertain, 0.1, 0.8)
	s.next(restNone, 100)
	want := map[string]float64{"good good": 0.01 * 0.01 * 99.9 * 99.9, "good poor": 0, "poor poor": 0.02 * 0.02 * 99.2 * 99.2}
	shared := s.filter.covariance(s.channels[0].offset, s.channels[1].offset)
	if root := math.Sqrt(shared); root < 0.05 || root > 0.3 {
		t.Errorf("the zeros share √(%v A²), of a residual current of 0.3 A", shared)
	}
	for _, c := range s.Covariances() {
		pair := c.GetFirst() + " " + c.GetSecond()
		got := c.GetSquareAmperes() - want[pair]
		if got < shared*0.8 || got > shared+0.02 {
			t.Errorf("%s: %v A², %v A² of it not the gain's; the zeros share %v A²", pair, c.GetSquareAmperes(), got, shared)
		}
		delete(want, pair)
	}
	if len(want) > 0 {
		t.Errorf("missing: %v", want)
	}
	s.Age(100 * time.Hour)
	s.next(restNone, 0.1)
	for _, c := range s.Covariances() {
		if c.GetFirst() == "poor" && c.GetSquareAmperes() < 1 {
			t.Errorf("after 100 h of a walk of 0.1 A/√h: %v A²", c.GetSquareAmperes())
		}
	}
}

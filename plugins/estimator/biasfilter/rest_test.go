package biasfilter

import (
	"math"
	"strings"
	"testing"

	"github.com/ampledger/ampledger/plugins/plugin"
	pluginv1 "github.com/ampledger/ampledger/proto/ampledger/plugin/v1"
)

// plain gives a channel without temperature, gain or hysteresis: zero 0.5 A, noise 0.2 A, walk 0.02 A/√h.
func plain(t testing.TB, settings with) *script {
	t.Helper()
	all := with{"channels": with{"main": with{"zero_walk_amperes_per_root_hour": 0.02, "gain_error_ratio": 0, "floor_amperes": 0.001}}}
	for k, v := range settings {
		all[k] = v
	}
	return scriptOf(t, started(t, all, mainChannel()))
}

func (s *script) covers(what string, truth, within float64) {
	s.Helper()
	b, u := s.last.GetCorrectionCoulombs(), s.last.GetCorrectionUncertaintyCoulombs()
	if !(math.Abs(b-truth) <= 1.96*u && u <= within) {
		s.Errorf("%s: B = %.6g C ± %.3g C (σ), truth %.6g C, σ at most %g C", what, b, u, truth, within)
	}
}

// A day under load with a zero of 0.3 A, and then a rest of ten minutes: it corrects the day that was counted before it.
func TestRestCorrectsWhatWasCounted(t *testing.T) {
	s := plain(t, nil)
	s.over(day, restNone, 80.3)
	s.covers("before the rest", 0.3*day, 0.6*day)
	if s.last.GetCorrectionCoulombs() != 0 {
		t.Error("something was learnt of the zero from load alone")
	}
	s.over(600, restCertain, 0.3)
	s.covers("after the rest", 0.3*(day+600), 1.01*0.02/60*math.Sqrt(day*day*day/3))
	if got := s.last.GetOffsetAmperes(); math.Abs(got-0.3) > 0.02 {
		t.Errorf("offset %v A", got)
	}
	s.wantTold("a sound rest")
}

func TestNoWordIsNoRest(t *testing.T) {
	s := plain(t, nil)
	s.over(600, restUnknown, 0.3)
	s.over(600, restNone, 0.3)
	if s.last.GetOffsetAmperes() != 0 || s.last.GetStandardUncertaintyAmperes() < 0.5 {
		t.Error("learnt from a small current that nobody called a rest: ", s.last)
	}
}

func TestQuiescence(t *testing.T) {
	s := plain(t, with{"quiescence": true, "quiescence_amperes": 0.05})
	s.over(600, restUnknown, 0.3)
	if got, u := s.last.GetOffsetAmperes(), s.last.GetStandardUncertaintyAmperes(); math.Abs(got-0.3) > 0.01 || math.Abs(u-0.05) > 0.01 {
		t.Errorf("offset %v A ± %v A, want 0.3 A ± 0.05 A", got, u)
	}
	before := s.last.GetOffsetAmperes()
	s.over(600, restUnknown, 1.5)
	if got := s.last.GetOffsetAmperes(); got != before {
		t.Errorf("1.5 A were taken for quiet: offset %v A", got)
	}
	s.change = func(of *plugin.Summary) { of.Channels[0].VarianceSquareAmperes = 4 }
	s.over(600, restUnknown, 0.3)
	if got := s.last.GetOffsetAmperes(); got != before {
		t.Errorf("a restless current was taken for quiet: offset %v A", got)
	}
}

// The contactor is said to be open while 20 A flow: nothing is learnt, however long it lasts, and it is told once.
func TestFalseRestUnderLoad(t *testing.T) {
	hysteresis := with{"channels": with{"main": with{"hysteresis_amperes": 0.1, "floor_amperes": 0.001, "zero_walk_amperes_per_root_hour": 0.02}}}
	s, calm := plain(t, hysteresis), plain(t, hysteresis)
	for _, c := range []*script{s, calm} {
		c.change = func(of *plugin.Summary) {
			for i := range of.Channels[0].PlayMeanRatios {
				of.Channels[0].PlayMeanRatios[i] = math.Sin(float64(c.count)/10 + float64(i))
			}
		}
		c.over(600, restCertain, 0.3)
		c.over(7200, restNone, 50.3)
	}
	s.over(7200, restCertain, 20.3)
	calm.over(7200, restNone, 20.3)
	s.wantTold("20 A in a rest", "rest rejected")
	if got, want := s.last, calm.last; !sameFigures(got, want) {
		t.Errorf("after the false rest %v, under load %v", got, want)
	}
	s.next(restNone, 20.3)
	s.over(600, restCertain, 20.3)
	s.wantTold("another", "rest rejected")
	s.next(restNone, 20.3)
	s.over(600, restCertain, 0.3)
	s.wantTold("a true rest")
	s.covers("after all", 0.3*float64(s.count)*s.seconds, 2000)
}

func sameFigures(a, b *plugin.ChannelEstimate) bool {
	return a.GetOffsetAmperes() == b.GetOffsetAmperes() && a.GetStandardUncertaintyAmperes() == b.GetStandardUncertaintyAmperes() &&
		a.GetCorrectionCoulombs() == b.GetCorrectionCoulombs() && a.GetCorrectionUncertaintyCoulombs() == b.GetCorrectionUncertaintyCoulombs()
}

// A zero that jumps by 1.2 A within the prior, half-way through two hours of load: believed after the ten minutes that are asked for.
func TestPriorIsReopened(t *testing.T) {
	s := plain(t, with{"reopen_seconds": 600})
	s.over(600, restCertain, 0.3)
	s.over(3600, restNone, 50.3)
	s.over(3600, restNone, 49.1)
	s.over(590, restCertain, -0.9)
	s.wantTold("at first", "rest rejected")
	s.over(30, restCertain, -0.9)
	s.wantTold("after 600 s", "prior re-opened")
	if got := s.last.GetOffsetAmperes(); math.Abs(got+0.9) > 0.02 {
		t.Errorf("offset %v A, want -0.9 A", got)
	}
	// When it jumped is not known: somewhere within 7200 s.
	if got, want := s.last.GetCorrectionCoulombs(), 0.3*4200-0.9*4220; math.Abs(got-want) > 150 {
		t.Errorf("B = %v C, want %v C", got, want)
	}
	near(t, "B's uncertainty", s.last.GetCorrectionUncertaintyCoulombs(), 1.2*7200/math.Sqrt(12), 0.1)
}

// 0.3 A flow in each rest, and 0.3 A are declared: covered; where nothing is declared, they are not.
func TestResidual(t *testing.T) {
	truth := 0.0
	s, ignorant := plain(t, with{"residual_amperes": 0.3}), plain(t, nil)
	for range 10 {
		for _, c := range []*script{s, ignorant} {
			c.over(3600, restNone, 40.1)
			c.over(600, restCertain, 0.4)
		}
		truth += 0.1 * 4200
	}
	s.covers("declared", truth, 0.3*42000)
	if b, u := ignorant.last.GetCorrectionCoulombs(), ignorant.last.GetCorrectionUncertaintyCoulombs(); math.Abs(b-truth) < 5*u {
		t.Errorf("not declared: B = %v C ± %v C covers %v C", b, u, truth)
	}
}

// A quantised constant has a constant error: a long rest does not average it away.
func TestFloorIsNotAveragedAway(t *testing.T) {
	s := plain(t, with{"channels": with{"main": with{"floor_amperes": 0.05}}})
	s.over(6000, restCertain, 0.3)
	if u := s.last.GetStandardUncertaintyAmperes(); u < 0.049 {
		t.Errorf("offset ± %v A, floor 0.05 A", u)
	}
	s = plain(t, with{"channels": with{"main": with{}}})
	s.change = func(of *plugin.Summary) { of.Channels[0].VarianceSquareAmperes = 0 }
	s.over(6000, restCertain, 0.3)
	if u := s.last.GetStandardUncertaintyAmperes(); u < 0.15 {
		t.Errorf("a constant reading, noise 0.2 A stated: offset ± %v A", u)
	}
}

// Scans lost before a rest's summary: what flowed meanwhile is not known to be nothing.
func TestHoleInARest(t *testing.T) {
	s := plain(t, nil)
	s.over(600, restCertain, 0.3)
	before := s.last.GetCorrectionCoulombs()
	s.change = func(of *plugin.Summary) {
		for _, c := range of.GetChannels() {
			c.IntegralSeconds, c.IntegralCoulombs = 110, 0.3*10+100*40.3
		}
		of.FirstMonotonicNanos += 100e9
		of.LastMonotonicNanos += 100e9
		of.FirstSequence += 1000
		of.LastSequence += 1000
	}
	s.next(restCertain, 0.3)
	if got := s.last.GetCorrectionCoulombs() - before; math.Abs(got-0.3*110) > 5 {
		t.Errorf("B moved by %v C over 100 s of load that were lost and 10 s of rest, want 33 C", got)
	}
}

// A temperature that was not measured is passed over, also where a figure stands for it.
func TestTemperatureThatIsNotKnown(t *testing.T) {
	s := plain(t, with{"channels": with{"main": with{"zero_drift_amperes_per_kelvin": 0.1}}})
	celsius, known := 20.0, true
	s.change = func(of *plugin.Summary) {
		of.Channels[0].TemperatureCelsius, of.Channels[0].TemperatureKnown = celsius, known
	}
	s.over(600, restCertain, 0.3)
	celsius = 30
	s.over(600, restCertain, 1.3)
	celsius, known = 0, false
	s.next(restNone, 50)
	near(t, "offset at 30 °C", s.last.GetOffsetAmperes(), 1.3, 0.05)
	celsius, known = 20, true
	s.next(restNone, 50)
	near(t, "offset at 20 °C", s.last.GetOffsetAmperes(), 0.3, 0.1)
}

// The offset is less certain while the regressors move.
func TestOffsetWidensWhileRegressorsMove(t *testing.T) {
	s := plain(t, with{"channels": with{"main": with{"hysteresis_amperes": 0.2, "hysteresis_operators": 1}}})
	z := -1.0
	s.change = func(of *plugin.Summary) { of.Channels[0].PlayMeanRatios[0] = z }
	s.over(600, restCertain, 0.3)
	s.next(restNone, 0.3)
	still := s.last.GetStandardUncertaintyAmperes()
	z = 0
	s.next(restNone, 50)
	moving := s.last.GetStandardUncertaintyAmperes()
	s.next(restNone, 50)
	stopped := s.last.GetStandardUncertaintyAmperes()
	if !(moving > math.Hypot(stopped, 0.15) && stopped > still) {
		t.Errorf("± %v A at rest, ± %v A as z moves by 1, ± %v A after that", still, moving, stopped)
	}
}

// The gain multiplies the current, not the reading: where the offset is all that is read, nothing comes of it.
func TestGainMultipliesTheCurrent(t *testing.T) {
	s, calm := plain(t, with{"channels": with{"main": with{"gain_error_ratio": 0.1}}}), plain(t, with{"channels": with{"main": with{"gain_error_ratio": 0}}})
	for _, c := range []*script{s, calm} {
		c.over(600, restCertain, 0.4)
		c.over(7200, restNone, 0.4)
	}
	near(t, "B's uncertainty", s.last.GetCorrectionUncertaintyCoulombs(), calm.last.GetCorrectionUncertaintyCoulombs(), 1e-2)
}

// What is no figure teaches nothing and does no harm.
func TestSickFigures(t *testing.T) {
	for _, v := range []float64{math.NaN(), math.Inf(1), math.Inf(-1), math.MaxFloat64, -math.MaxFloat64} {
		for name, sicken := range map[string]func(*plugin.ChannelSummary){
			"mean":        func(c *plugin.ChannelSummary) { c.MeanAmperes = v },
			"variance":    func(c *plugin.ChannelSummary) { c.VarianceSquareAmperes = v },
			"temperature": func(c *plugin.ChannelSummary) { c.TemperatureCelsius, c.TemperatureKnown = v, true },
			"seconds":     func(c *plugin.ChannelSummary) { c.IntegralSeconds = v },
			"coulombs":    func(c *plugin.ChannelSummary) { c.IntegralCoulombs = v },
			"play":        func(c *plugin.ChannelSummary) { c.PlayMeanRatios[0] = v },
			"readings":    func(c *plugin.ChannelSummary) { c.ReadingCount = 0 },
		} {
			for _, rest := range []pluginv1.Rest{restNone, restCertain} {
				s := plain(t, with{"channels": with{"main": with{"hysteresis_amperes": 0.1}}})
				s.over(600, restCertain, 0.3)
				s.change = func(of *plugin.Summary) { sicken(of.Channels[0]) }
				s.over(100, rest, 0.3)
				s.change = nil
				s.over(600, restCertain, 0.3)
				if got := s.last.GetOffsetAmperes(); math.Abs(got-0.3) > 0.02 || !finite(s.last.GetCorrectionCoulombs()) {
					t.Errorf("%s %v: %v", name, v, s.last)
				}
			}
		}
	}
}

// Within a rest the operators only follow the noise of the readings; h must not be learnt from that.
func TestHysteresisIsNotLearntFromNoise(t *testing.T) {
	s := plain(t, with{"channels": with{"main": with{"hysteresis_amperes": 0.2, "hysteresis_operators": 1, "floor_amperes": 0.001}}})
	const width = fullScale / 2
	noise := 0.0
	s.change = func(of *plugin.Summary) {
		noise = -noise + 0.02*float64(s.count%3) - 0.02
		of.Channels[0].MeanAmperes += noise
		of.Channels[0].PlayMeanRatios[0] = -1 + 20*noise/width
	}
	s.over(3600, restCertain, 0.3)
	at := s.channels[0].at.plays
	if h, u := s.filter.x[at], math.Sqrt(s.filter.p[at*s.filter.n+at]); math.Abs(h) > 0.06 || u < 0.15 {
		t.Errorf("h = %v A ± %v A", h, u)
	}
}

// Two channels share the residual current, so their difference in a rest is known better than either.
func TestResidualIsShared(t *testing.T) {
	twin := mainChannel()
	twin.Name = "twin"
	s := scriptOf(t, started(t, with{"residual_amperes": 0.3}, mainChannel(), twin))
	s.over(600, restCertain, 0.5, 0.1)
	a, b := s.channels[0].at.zero, s.channels[1].at.zero
	difference, variance := s.filter.value([]term{{a, 1}, {b, -1}})
	if math.Abs(difference-0.4) > 0.05 || math.Sqrt(variance) > 0.1 || s.last.GetStandardUncertaintyAmperes() < 0.2 {
		t.Errorf("difference %v A ± %v A, each ± %v A", difference, math.Sqrt(variance), s.last.GetStandardUncertaintyAmperes())
	}
}

// A rest that one channel does not believe is believed of none, and the note names the channel.
func TestOneChannelVetoes(t *testing.T) {
	wide := mainChannel()
	wide.Name, wide.ZeroUncertaintyAmperes = "wide", 30
	s := scriptOf(t, started(t, nil, mainChannel(), wide))
	s.over(600, restCertain, 20)
	notes := s.Notes()
	if len(notes) == 0 || notes[0].GetChannel() != "main" || !strings.Contains(notes[0].GetText(), "20 A") {
		t.Errorf("notes %v", notes)
	}
	if got := s.filter.x[s.channels[1].at.zero]; math.Abs(got) > 1 {
		t.Errorf("the wide channel's zero is now %v A", got)
	}
}

package calibration_test

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/ampledger/ampledger/daemon/metrology/calibration"
)

// points draws a calibration from −200 A to 200 A of a channel that shows indicate(current), up and down again.
func points(r *rand.Rand, indicate func(amperes float64, up bool) float64) (all []calibration.Point) {
	for i := range 22 {
		up := i < 11
		reference := 40 * float64(min(i, 21-i)-5)
		p := calibration.Point{ReferenceAmperes: reference, ReferenceUncertaintyAmperes: 0.02, IndicatedUncertaintyAmperes: 0.03, Sweep: calibration.Descending}
		if up {
			p.Sweep = calibration.Ascending
		}
		p.IndicatedAmperes = indicate(reference+0.02*r.NormFloat64(), up) + 0.03*r.NormFloat64()
		all = append(all, p)
	}
	return all
}

func TestDiagnoses(t *testing.T) {
	shunt, magnetic := calibration.Expectation{Shunt: true, GainLimitRatio: 0.01}, calibration.Expectation{GainLimitRatio: 0.01}
	times := func(gain float64) func(float64, bool) float64 {
		return func(a float64, _ bool) float64 { return gain * a }
	}
	saturating := func(a float64, _ bool) float64 { return 2000 * math.Tanh(a/2000) }
	for name, c := range map[string]struct {
		indicate func(float64, bool) float64
		expect   calibration.Expectation
		want     map[calibration.Fault]string
	}{
		"sound":                     {times(1.002), shunt, nil},
		"on the power terminals":    {times(1.04), shunt, map[calibration.Fault]string{calibration.SenseLeads: "the gain is 4.0"}},
		"a magnetic one 4 % off":    {times(1.04), magnetic, nil},
		"too low":                   {times(0.96), shunt, nil},
		"backwards":                 {times(-1), magnetic, map[calibration.Fault]string{calibration.Backwards: "mounted backwards"}},
		"three turns, backwards":    {times(-3.01), magnetic, map[calibration.Fault]string{calibration.Backwards: "reversed", calibration.Turns: "near 3: the conductor goes through 3 times"}},
		"a turn fewer than is said": {times(0.5), magnetic, map[calibration.Fault]string{calibration.Turns: "near 1/2: the conductor goes through fewer"}},
		"a gain of 1.5":             {times(1.5), magnetic, nil},
		"saturating":                {saturating, magnetic, map[calibration.Fault]string{calibration.Bent: "it saturates"}},
		"bent the other way":        {func(a float64, _ bool) float64 { return a + 3e-7*a*a*a }, magnetic, map[calibration.Fault]string{calibration.Bent: "fit a curve"}},
	} {
		r := rand.New(rand.NewPCG(2, 3))
		found := curveOf(t, points(r, c.indicate), straight, calibration.Common{}).Diagnose(c.expect)
		if len(found) != len(c.want) {
			t.Errorf("%s: %+v", name, found)
		}
		for _, d := range found {
			if text := c.want[d.Fault]; text == "" || !strings.Contains(d.Text, text) {
				t.Errorf("%s: want %q, got %q", name, text, d.Text)
			}
		}
	}
}

func TestDiagnosesOfPoints(t *testing.T) {
	r := rand.New(rand.NewPCG(4, 5))
	hysteresis := func(a float64, up bool) float64 {
		if up {
			return a
		}
		return a + 0.2
	}
	found := curveOf(t, points(r, hysteresis), straight, calibration.Common{}).Diagnose(calibration.Expectation{})
	if len(found) != 1 || found[0].Fault != calibration.Hysteretical {
		t.Errorf("%+v", found)
	}
	wrong := points(r, func(a float64, _ bool) float64 { return a })
	wrong[4].IndicatedAmperes += 0.6
	wrong[4].Sweep = calibration.Unswept
	c := curveOf(t, wrong, straight, calibration.Common{})
	found = c.Diagnose(calibration.Expectation{})
	if len(found) != 1 || found[0].Fault != calibration.Apart || !strings.Contains(found[0].Text, "point 5 lies") || len(c.Fit.Residuals) != len(wrong) {
		t.Errorf("%+v", found)
	}
}

// Sound channels get no diagnosis but by chance.
func TestSoundChannelsAreLeftAlone(t *testing.T) {
	r, wrong := rand.New(rand.NewPCG(6, 7)), 0
	for range 500 {
		sound := points(r, func(a float64, _ bool) float64 { return 0.3 + 1.003*a })
		if found := curveOf(t, sound, straight, calibration.Common{}).Diagnose(calibration.Expectation{Shunt: true, GainLimitRatio: 0.01}); len(found) > 0 {
			wrong++
		}
	}
	if wrong > 30 { // three tests at 1 %
		t.Errorf("%d of 500 sound channels have something wrong", wrong)
	}
}

package calibration_test

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"github.com/ampledger/ampledger/daemon/metrology/calibration"
	"github.com/ampledger/ampledger/daemon/metrology/polynomial"
	"github.com/ampledger/ampledger/daemon/referencetest"
)

var straight = polynomial.Shape{Degree: 1}

var near = referencetest.Near

func curveOf(t testing.TB, points []calibration.Point, shape polynomial.Shape, common calibration.Common) *calibration.Curve {
	t.Helper()
	c, err := calibration.New(points, shape, common)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func TestRefusals(t *testing.T) {
	good := []calibration.Point{{ReferenceAmperes: 0, ReferenceUncertaintyAmperes: 0.1}, {ReferenceAmperes: 9, ReferenceUncertaintyAmperes: 0.1, IndicatedAmperes: 9}}
	with := func(change func(p *calibration.Point)) []calibration.Point {
		points := append([]calibration.Point{}, good...)
		change(&points[1])
		return points
	}
	for name, c := range map[string]struct {
		points []calibration.Point
		shape  polynomial.Shape
		common calibration.Common
		want   string
	}{
		"no points":             {nil, straight, calibration.Common{}, "0 point(s): a calibration needs two"},
		"one point":             {good[:1], straight, calibration.Common{}, "1 point(s)"},
		"one current":           {with(func(p *calibration.Point) { p.ReferenceAmperes = 0 }), straight, calibration.Common{}, "at 1 different place(s) cannot tell 2"},
		"reference without u":   {with(func(p *calibration.Point) { p.ReferenceUncertaintyAmperes = 0 }), straight, calibration.Common{}, "point 2: the reference's uncertainty is missing"},
		"reference with u of ∞": {with(func(p *calibration.Point) { p.ReferenceUncertaintyAmperes = math.Inf(1) }), straight, calibration.Common{}, "point 2: the reference's uncertainty"},
		"NaN":                   {with(func(p *calibration.Point) { p.IndicatedAmperes = math.NaN() }), straight, calibration.Common{}, "point 2: a current is not finite"},
		"u below 0":             {with(func(p *calibration.Point) { p.IndicatedUncertaintyAmperes = -1 }), straight, calibration.Common{}, "point 2: the indication's uncertainty"},
		"common gain of 1":      {good, straight, calibration.Common{GainRatio: 1}, "common uncertainty"},
		"cubic from two":        {good, polynomial.Shape{Degree: 3}, calibration.Common{}, "cannot tell 4"},
	} {
		if _, err := calibration.New(c.points, c.shape, c.common); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: want %q, got %v", name, c.want, err)
		}
	}
	turning := []calibration.Point{}
	for i := range 9 {
		x := float64(i)
		turning = append(turning, calibration.Point{ReferenceAmperes: x, ReferenceUncertaintyAmperes: 0.1, IndicatedAmperes: 10*x - x*x})
	}
	if _, err := calibration.New(turning, polynomial.Shape{Degree: 2}, calibration.Common{}); err == nil || !strings.Contains(err.Error(), "turns around at 5") {
		t.Errorf("a curve that turns around: %v", err)
	}
}

// A point's weight is that of both its uncertainties, the reference's turned into indication by the slope.
func TestWeightsTakeBothUncertainties(t *testing.T) {
	points := []calibration.Point{
		{ReferenceAmperes: 0, ReferenceUncertaintyAmperes: 0.03, IndicatedAmperes: 1, IndicatedUncertaintyAmperes: 0.08},
		{ReferenceAmperes: 100, ReferenceUncertaintyAmperes: 0.06, IndicatedAmperes: -199, IndicatedUncertaintyAmperes: 0.05},
	}
	c := curveOf(t, points, straight, calibration.Common{OffsetAmperes: 0.2, GainRatio: 0.001})
	l := c.Line()
	u0, u1 := math.Hypot(0.08, 2*0.03), math.Hypot(0.05, 2*0.06)
	near(t, "offset", l.OffsetAmperes, 1, 1e-12)
	near(t, "gain", l.Gain, -2, 1e-12)
	near(t, "u of offset", l.OffsetUncertaintyAmperes, math.Hypot(u0, 2*0.2), 1e-12)
	near(t, "u of gain", l.GainUncertainty, math.Hypot(math.Hypot(u0, u1)/100, 2*0.001), 1e-12)
	near(t, "correlation", l.Correlation, -u0*u0/100/(l.OffsetUncertaintyAmperes*l.GainUncertainty), 1e-12)
	x, u := c.Indication(100)
	near(t, "indication", x, -199, 1e-12)
	near(t, "u of indication", u, math.Hypot(u1, 2*math.Hypot(0.2, 0.1)), 1e-12)
	amperes, ua := c.Current(-199)
	near(t, "current", amperes, 100, 1e-12)
	near(t, "u of current", ua, u/2, 1e-12)
	if c.Enlarged != 1 || !math.IsNaN(c.Birge) || !c.Covers(100) || c.Covers(100.1) || c.Covers(-0.1) {
		t.Errorf("enlarged %g, Birge %g", c.Enlarged, c.Birge)
	}
}

// Current undoes Indication for every monotonic curve, in its span and a little beyond it.
func TestCurrentUndoesIndication(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		square, cube := rapid.Float64Range(-0.3, 0.3).Draw(t, "square"), rapid.Float64Range(0, 0.5).Draw(t, "cube")
		gain := rapid.SampledFrom([]float64{1, -1, 0.1, -30}).Draw(t, "gain")
		var points []calibration.Point
		for i := range 21 {
			x := float64(i-10) / 10
			points = append(points, calibration.Point{
				ReferenceAmperes: 300 * x, ReferenceUncertaintyAmperes: 0.1, IndicatedAmperes: 300*gain*(x+square*x*x+cube*x*x*x) + 2,
			})
		}
		c, err := calibration.New(points, polynomial.Shape{Degree: 3}, calibration.Common{})
		if err != nil {
			t.Fatal(err)
		}
		want := rapid.Float64Range(-310, 310).Draw(t, "amperes")
		x, u := c.Indication(want)
		amperes, ua := c.Current(x)
		if !(math.Abs(amperes-want) < 1e-9) || !(math.Abs(ua*math.Abs(c.Fit.Slope(want))-u) < 1e-9*u) {
			t.Fatalf("%g A is shown as %g A, which is %g A (u %g and %g)", want, x, amperes, u, ua)
		}
	})
	points := []calibration.Point{}
	for i := range 5 {
		x := float64(i)
		points = append(points, calibration.Point{ReferenceAmperes: x, ReferenceUncertaintyAmperes: 0.1, IndicatedAmperes: 10*x - x*x})
	}
	if amperes, _ := curveOf(t, points, polynomial.Shape{Degree: 2}, calibration.Common{}).Current(26); !math.IsNaN(amperes) {
		t.Errorf("an indication beyond the curve's greatest stands for %g A", amperes)
	}
}

// simulated draws a calibration of a channel with offset 0.4 A and gain 1.006, against a reference with a common gain error.
func simulated(r *rand.Rand, common, understated float64) []calibration.Point {
	wrong := 1 + common*r.NormFloat64()
	var points []calibration.Point
	for i := range 22 {
		reference := 50 * float64(min(i, 21-i)-5)
		p := calibration.Point{ReferenceAmperes: reference, ReferenceUncertaintyAmperes: 0.02 + 0.0002*math.Abs(reference), IndicatedUncertaintyAmperes: 0.03}
		truth := (reference + p.ReferenceUncertaintyAmperes*r.NormFloat64()) / wrong
		p.IndicatedAmperes = 0.4 + 1.006*truth + p.IndicatedUncertaintyAmperes*r.NormFloat64()
		p.ReferenceUncertaintyAmperes /= understated
		p.IndicatedUncertaintyAmperes /= understated
		points = append(points, p)
	}
	return points
}

// The stated 95 % intervals hold the truth in 95 % of many calibrations, also where the point's uncertainties were stated three times too small,
// since the curve's is enlarged then.
func TestIntervalsHold(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 8))
	const runs = 2000
	for _, c := range []struct {
		common, understated float64
		least, most         int // of runs
	}{{0.001, 1, 1860, 1935}, {0, 3, 1840, 1935}} {
		gain, offset, at := 0, 0, 0
		for range runs {
			curve := curveOf(t, simulated(r, c.common, c.understated), straight, calibration.Common{GainRatio: c.common})
			l := curve.Line()
			gain += within(l.Gain, l.GainUncertainty, 1.006)
			offset += within(l.OffsetAmperes, l.OffsetUncertaintyAmperes, 0.4)
			amperes, u := curve.Current(0.4 + 1.006*130)
			at += within(amperes, u, 130)
		}
		for what, n := range map[string]int{"gain": gain, "offset": offset, "current": at} {
			if n < c.least || n > c.most {
				t.Errorf("%+v: the interval of the %s holds it in %d of %d runs", c, what, n, runs)
			}
		}
	}
}

func within(got, u, truth float64) int {
	if math.Abs(got-truth) <= 1.96*u {
		return 1
	}
	return 0
}

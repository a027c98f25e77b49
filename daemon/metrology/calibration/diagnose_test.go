package calibration_test

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/ampledger/ampledger/daemon/metrology/calibration"
)

// channelOf makes points up and down again of a channel, with a little noise.
func channelOf(indication func(amperes float64, sweep calibration.Sweep) float64) []calibration.Point {
	r := rand.New(rand.NewPCG(2, 3))
	var points []calibration.Point
	add := func(i int, sweep calibration.Sweep) {
		reference := 25 * float64(i)
		points = append(points, calibration.Point{
			ReferenceAmperes: reference, ReferenceUncertaintyAmperes: 0.01, IndicatedUncertaintyAmperes: 0.01,
			IndicatedAmperes: indication(reference, sweep) + 0.014*r.NormFloat64(), Sweep: sweep,
		})
	}
	for i := -4; i <= 4; i++ {
		add(i, calibration.Ascending)
	}
	for i := 4; i >= -4; i-- {
		add(i, calibration.Descending)
	}
	return points
}

// Each mistake is named, and nothing else is; common practice, no source.
func TestDiagnoses(t *testing.T) {
	shunt := calibration.Circumstances{Shunt: true, GainLimit: 0.01}
	magnetic := calibration.Circumstances{GainLimit: 0.01}
	line := func(offset, gain float64) func(float64, calibration.Sweep) float64 {
		return func(amperes float64, _ calibration.Sweep) float64 { return offset + gain*amperes }
	}
	for name, c := range map[string]struct {
		points []calibration.Point
		of     calibration.Circumstances
		want   []string // subjects
		part   string
	}{
		"as it should be":                    {channelOf(line(0.3, 1.004)), shunt, nil, ""},
		"sense leads on the power terminals": {channelOf(line(0, 1.08)), shunt, []string{"sense leads"}, "8 % above 1"},
		"a gain as high, but no shunt":       {channelOf(line(0, 1.08)), magnetic, nil, ""},
		"mounted backwards":                  {channelOf(line(0.3, -1.002)), magnetic, []string{"sign reversed"}, "backwards"},
		"four turns":                         {channelOf(line(0, 3.99)), magnetic, []string{"primary turns"}, "near 4"},
		"a turn where two are said":          {channelOf(line(0, 0.501)), magnetic, []string{"primary turns"}, "near 1/2"},
		"a shunt of twice the resistance":    {channelOf(line(0, 2)), shunt, []string{"sense leads"}, "100 % above 1"},
		"a core that remembers": {channelOf(func(a float64, s calibration.Sweep) float64 {
			if s == calibration.Descending {
				return a + 0.2
			}
			return a - 0.2
		}), magnetic, []string{"hysteresis"}, "+0.4"},
		"a core that saturates": {channelOf(func(a float64, _ calibration.Sweep) float64 { return a * (1 - 2e-6*a*a) }), magnetic, []string{"saturation"}, "saturates"},
		"a gain that grows":     {channelOf(func(a float64, _ calibration.Sweep) float64 { return a * (1 + 2e-6*a*a) }), magnetic, []string{"curvature"}, "no straight line"},
	} {
		curve := curveOf(t, c.points, straight, calibration.Common{})
		var got []string
		text := ""
		for _, d := range curve.Diagnose(c.of) {
			got, text = append(got, d.Subject), text+d.Text
		}
		if strings.Join(got, ", ") != strings.Join(c.want, ", ") || !strings.Contains(text, c.part) {
			t.Errorf("%s: got %q %s", name, got, text)
		}
	}
}

// One point that is off is named with its number, and counts.
func TestDiagnosesAnOutlier(t *testing.T) {
	points := channelOf(func(a float64, _ calibration.Sweep) float64 { return a })
	points[5].IndicatedAmperes += 3
	curve := curveOf(t, points, straight, calibration.Common{})
	found := curve.Diagnose(calibration.Circumstances{GainLimit: 0.01})
	last := found[len(found)-1]
	if last.Subject != "outlier" || !strings.HasPrefix(last.Text, "point 6 (25 A) lies +2.") {
		t.Errorf("%+v", found)
	}
	if math.Abs(curve.Fit.Residuals[5]-3) > 0.5 || len(curve.Points) != 18 {
		t.Errorf("it was left out: %g", curve.Fit.Residuals[5])
	}
}

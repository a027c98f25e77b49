package stability_test

import (
	"math"
	"testing"

	"github.com/ampledger/ampledger/daemon/metrology/stability"
	"github.com/ampledger/ampledger/daemon/referencetest"
)

// The header of the recording states what the bench's readings come to: mean 0.00441 A, two values 0.01 A apart, trapezoid 0.2159 Ah in
// 172799 s, while the bench's own counter says that nothing flowed.
func TestRealZeroLog(t *testing.T) {
	l := &stability.Log{}
	for _, row := range referencetest.Table(t, "recordings/zero_current_rest_48h.csv") {
		l.Nanos = append(l.Nanos, int64(math.Round(referencetest.Number(t, row["time_s"])*1e9)))
		l.Amperes = append(l.Amperes, referencetest.Number(t, row["current_a"]))
	}
	if err := l.Check(); err != nil {
		t.Fatal(err)
	}
	g, err := stability.Arrange(l, 0)
	if err != nil {
		t.Fatal(err)
	}
	if !g.Averaged || g.IntervalSeconds != 60 || g.Gaps != 0 || g.Readings != 2939 {
		t.Errorf("averaged %v, interval %g s, %d gaps, %d readings", g.Averaged, g.IntervalSeconds, g.Gaps, g.Readings)
	}
	o := stability.Integrate(l, g)
	near(t, "mean", o.MeanAmperes, 0.00441, 1e-3)
	near(t, "charge in Ah", o.ChargeCoulombs/3600, 0.2159, 3e-4)
	near(t, "time", o.Seconds, 172799, 1e-9)
	r := stability.Resolve(l)
	near(t, "step", r.StepAmperes, 0.01, 1e-9)
	if !r.Coarse || r.DistinctCount != 2 {
		t.Errorf("%+v: not found to be coarse", r)
	}
	if u := o.StandardUncertainty(fitOf(t, g), r); u < r.StepAmperes/math.Sqrt(12) || u > r.StepAmperes {
		t.Errorf("uncertainty of the zero %g A", u)
	}
}

// A gap costs neither charge nor time.
func TestIntegralLeavesGapsOut(t *testing.T) {
	l := logOf([]int64{0, second, 2 * second, 100 * second, 101 * second}, 1, 1, 1, 3, 5)
	g, err := stability.Arrange(l, 0)
	if err != nil {
		t.Fatal(err)
	}
	if o := stability.Integrate(l, g); o.ChargeCoulombs != 6 || o.Seconds != 3 || o.TimeMeanAmperes != 2 || o.MeanAmperes != 2.2 {
		t.Errorf("%+v", o)
	}
}

// The stated uncertainty is that of the zero at the log's end: of the mean under white noise, of how far the walk has left it behind.
func TestUncertaintyOfTheZero(t *testing.T) {
	c := func(v float64) stability.Coefficient { return stability.Coefficient{Value: v} }
	o := stability.Offset{Seconds: 300}
	near(t, "white", o.StandardUncertainty(&stability.Model{WhiteDensity: c(3)}, stability.Resolution{}), 3/math.Sqrt(300), 1e-14)
	near(t, "walk", o.StandardUncertainty(&stability.Model{WalkDensity: c(3)}, stability.Resolution{}), 30, 1e-14)
	coarse := stability.Resolution{StepAmperes: 0.01, Coarse: true}
	near(t, "rounding", o.StandardUncertainty(&stability.Model{}, coarse), 0.00288675, 1e-6)
}

// Half a step of noise carries the readings over the steps, less does not; the scatter of many distinct readings is not coarse.
func TestCoarseLogs(t *testing.T) {
	for _, c := range []struct {
		sigma  float64
		coarse bool
	}{{0.1, true}, {0.3, true}, {0.7, false}, {5, false}, {5000, false}} {
		values := noisy(9, 20000, c.sigma, 0, 1)
		for i := range values {
			values[i] = math.Round(values[i]+0.2) * 0.001
		}
		r := stability.Resolve(&stability.Log{Amperes: values})
		if r.Coarse != c.coarse {
			t.Errorf("noise of %g steps: %+v, want coarse %v", c.sigma, r, c.coarse)
		}
		near(t, "step", r.StepAmperes, 0.001, 1e-6)
	}
}

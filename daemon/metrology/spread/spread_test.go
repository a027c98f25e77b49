package spread

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/stat"
	"pgregory.net/rapid"
)

// The two-pass formulas of a general-purpose library.
func TestSpreadIsThatOfTheWholeSeries(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		values := rapid.SliceOfN(rapid.Float64Range(-1e3, 1e3), 0, 50).Draw(t, "values")
		var s Spread
		for _, v := range values {
			s.Add(v)
		}
		var mean, deviation, uncertainty float64
		if len(values) > 0 {
			mean = stat.Mean(values, nil)
		}
		if len(values) > 1 {
			deviation = stat.StdDev(values, nil)
			uncertainty = stat.StdErr(deviation, float64(len(values)))
		}
		for _, c := range []struct {
			of        string
			got, want float64
		}{{"mean", s.Mean, mean}, {"deviation", s.Deviation(), deviation}, {"uncertainty", s.Uncertainty(), uncertainty}} {
			if math.Abs(c.got-c.want) > 1e-9 {
				t.Errorf("%s %g, want %g", c.of, c.got, c.want)
			}
		}
	})
}

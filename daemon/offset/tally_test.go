package offset_test

import (
	"math"
	"math/big"
	"testing"

	"pgregory.net/rapid"

	"github.com/ampledger/ampledger/daemon/offset"
	"github.com/ampledger/ampledger/daemon/referencetest"
	"github.com/ampledger/ampledger/daemon/scan"
)

// exactly gives mean and variance (n − 1) by rational arithmetic, to be rounded once.
func exactly(values []float64) (mean, variance float64) {
	n, sum := big.NewRat(int64(len(values)), 1), new(big.Rat)
	for _, v := range values {
		sum.Add(sum, new(big.Rat).SetFloat64(v))
	}
	centre := new(big.Rat).Quo(sum, n)
	squares := new(big.Rat)
	for _, v := range values {
		d := new(big.Rat).SetFloat64(v)
		d.Sub(d, centre)
		squares.Add(squares, d.Mul(d, d))
	}
	mean, _ = centre.Float64()
	if len(values) > 1 {
		variance, _ = squares.Quo(squares, n.Sub(n, big.NewRat(1, 1))).Float64()
	}
	return mean, variance
}

// tallied adds the readings in spans of so many.
func tallied(r *scan.Readings, span int) *offset.Tally {
	var t offset.Tally
	for i := 0; i < r.Len(); i += span {
		t.Add(cut(r, i, min(i+span, r.Len())), nil)
	}
	return &t
}

// NIST/ITL Statistical Reference Datasets, univariate: NumAcc1 to 4 after Simon and Lesage (1989). The columns _b64 hold the exact answers for
// the values as rounded to binary64, which is all that a program can reach.
func TestNISTUnivariateSets(t *testing.T) {
	alternating := func(base float64) []float64 {
		tenths := func(n float64) float64 { return (base*10 + n) / 10 } // rounds once, as reading the decimal does
		all := []float64{tenths(2)}
		for range 500 {
			all = append(all, tenths(1), tenths(3))
		}
		return all
	}
	data := map[string][]float64{
		"NumAcc1": {10000001, 10000003, 10000002}, "NumAcc2": alternating(1), "NumAcc3": alternating(1e6), "NumAcc4": alternating(1e7),
	}
	for _, row := range referencetest.Table(t, "reference/nist_univariate_data.csv") {
		data[row["dataset"]] = append(data[row["dataset"]], referencetest.Number(t, row["value"]))
	}
	checked := 0
	for _, row := range referencetest.Table(t, "reference/nist_univariate.csv") {
		values, found := data[row["dataset"]]
		if !found {
			continue // digits of pi
		}
		checked++
		mean, sd := row["mean_b64"], row["sd_b64"]
		if mean == "" {
			mean, sd = row["mean"], row["sd"]
		}
		for _, span := range []int{1, 7, 100, len(values)} {
			tally := tallied(readings(0, values...), span)
			near(t, row["dataset"]+" mean", tally.Mean(), referencetest.Number(t, mean), 4e-15*math.Abs(referencetest.Number(t, mean)))
			near(t, row["dataset"]+" sd", math.Sqrt(tally.Variance()), referencetest.Number(t, sd), 1e-13*referencetest.Number(t, sd))
		}
	}
	if checked != 8 {
		t.Errorf("%d sets, want 8", checked)
	}
}

// Whatever the cuts, the tally is that of the usable readings in exact arithmetic.
func TestTallyIsExactHoweverTheFramesAreCut(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		amperes := rapid.SliceOfN(rapid.OneOf(rapid.Float64Range(-500, 500), rapid.Float64Range(399, 400), rapid.Just(nan)), 1, 40)
		r := readings(0, amperes.Draw(t, "amperes")...)
		var usable []float64
		for _, y := range r.Amperes {
			if y == y {
				usable = append(usable, y)
			}
		}
		tally := tallied(r, rapid.IntRange(1, r.Len()).Draw(t, "span"))
		if tally.Count != len(usable) || tally.Unusable != r.Len()-len(usable) {
			t.Fatalf("%d usable, %d not, want %d of %d", tally.Count, tally.Unusable, len(usable), r.Len())
		}
		if len(usable) == 0 {
			if tally.Mean() != 0 || tally.Variance() != 0 {
				t.Fatalf("mean %v of nothing", tally.Mean())
			}
			return
		}
		mean, variance := exactly(usable)
		if math.Abs(tally.Mean()-mean) > 1e-12*500 || math.Abs(tally.Variance()-variance) > 1e-12*500*500 {
			t.Fatalf("mean %v, variance %v, want %v, %v", tally.Mean(), tally.Variance(), mean, variance)
		}
		if tally.Minimum != r.Minimum || tally.Maximum != r.Maximum {
			t.Fatalf("%v to %v, want %v to %v", tally.Minimum, tally.Maximum, r.Minimum, r.Maximum)
		}
	})
}

func TestFrameCutsChangeNoBitOfATally(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var once, often offset.Tally
		for range rapid.IntRange(1, 4).Draw(t, "frames") {
			r := readings(0, rapid.SliceOfN(rapid.OneOf(rapid.Float64Range(-500, 500), rapid.Just(nan)), 1, 10).Draw(t, "amperes")...)
			n := rapid.SampledFrom([]int{1, r.Len()}).Draw(t, "temperatures")
			celsius := rapid.OneOf(rapid.Float64Range(-40, 90), rapid.SampledFrom([]float64{0, 20, nan}))
			f := scan.Frame{Clock: r.Clock, Count: r.Len(), Columns: []scan.Column{{Values: rapid.SliceOfN(celsius, n, n).Draw(t, "celsius")}}}
			once.Add(r, &f.Columns[0])
			for i, j := 0, 0; i < r.Len(); i = j {
				j = rapid.IntRange(i+1, r.Len()).Draw(t, "cut")
				var part scan.Frame
				f.Cut(i, j, &part)
				often.Add(cut(r, i, j), &part.Columns[0])
			}
		}
		if once != often {
			t.Fatalf("%+v\n%+v", once, often)
		}
	})
}

// A reading that is flagged keeps amperes, such as the rail's: they must not count.
func TestFlaggedReadingsDoNotCount(t *testing.T) {
	r := readings(0, 1, 900, 3, 5)
	r.Quality = []scan.Quality{0, scan.Saturated, 0, scan.TimeRepeated}
	settle(r)
	for span := 1; span <= 4; span++ {
		tally := tallied(r, span)
		if tally.Count != 2 || tally.Unusable != 2 || tally.Mean() != 2 || tally.Variance() != 2 || tally.Minimum != 1 || tally.Maximum != 3 {
			t.Errorf("in spans of %d: %+v", span, tally)
		}
	}
}

func TestTemperatureIsWeighedByScans(t *testing.T) {
	three, one := readings(0, 1, 2, 3), readings(3, 4)
	for _, c := range []struct {
		name        string
		first, then *scan.Column // of three scans and of one
		want        float64
		known       bool
	}{
		{"not wired", nil, nil, 0, false},
		{"one for the frame", &scan.Column{Values: []float64{20}}, &scan.Column{Values: []float64{40}}, 25, true},
		{"repeated", &scan.Column{Values: []float64{20, 20, 20}}, &scan.Column{Values: []float64{40}}, 25, true},
		{"no numbers among them", &scan.Column{Values: []float64{20, nan, inf}}, &scan.Column{Values: []float64{40}}, 30, true},
		{"flagged", &scan.Column{Values: []float64{20}, Flags: []scan.Quality{scan.Missing}}, &scan.Column{Values: []float64{40}}, 40, true},
		{"none known", &scan.Column{Values: []float64{nan}}, &scan.Column{Values: []float64{40}, Flags: []scan.Quality{scan.Missing}}, 0, false},
	} {
		var tally offset.Tally
		tally.Add(three, c.first)
		tally.Add(one, c.then)
		if got, known := tally.Celsius(); got != c.want || known != c.known {
			t.Errorf("%s: %v °C, known %v, want %v, %v", c.name, got, known, c.want, c.known)
		}
	}
}

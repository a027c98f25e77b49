package stability_test

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"github.com/ampledger/ampledger/daemon/metrology/stability"
	"github.com/ampledger/ampledger/daemon/referencetest"
)

// NIST SP 1065 (2008), Tables 29 to 31: the 9-point set of NBS Monograph 140 and the 1000-point set. The tables' figures have 7 digits, one of them
// is rounded the wrong way, hence 5e-7.
func TestDeviationsOfNISTSets(t *testing.T) {
	nine := []float64{892, 809, 823, 798, 671, 644, 883, 903, 677}
	for file, values := range map[string][]float64{"nist_sp1065_9pt.csv": nine, "nist_sp1065_1000pt.csv": nist1000()} {
		checked := 0
		for _, row := range referencetest.Table(t, "reference/"+file) {
			kind := map[string]func(*stability.Grid, []int) []stability.Point{
				"adev": stability.Plain, "oadev": stability.Overlapping, "mdev": stability.Modified,
			}[row["statistic"]]
			if kind == nil {
				continue
			}
			m := int(referencetest.Number(t, row["m"]))
			p := kind(stability.Evenly(1, values), []int{m})[0]
			near(t, file+" "+row["statistic"]+" m="+row["m"], p.DeviationAmperes, referencetest.Number(t, row["published"]), 5e-7)
			near(t, "recomputed "+row["statistic"]+" m="+row["m"], p.DeviationAmperes, referencetest.Number(t, row["recomputed"]), 1e-11)
			if p.Terms != int(referencetest.Number(t, row["terms"])) {
				t.Errorf("%s %s m=%d: %d terms, want %s", file, row["statistic"], m, p.Terms, row["terms"])
			}
			checked++
		}
		if checked < 6 {
			t.Errorf("%s: %d figures only", file, checked)
		}
	}
}

// Of unit white readings the expectation is 1/m exactly, of a walk of unit steps (2m²+1)/(6m): the variance is a quadratic form of the readings,
// so its expectation is the sum of what each independent impulse, or step, gives alone (N. F. Zhang, Metrologia 45 (2008) 549).
func TestDiscreteLawsInExpectation(t *testing.T) {
	const n = 64
	for _, m := range []int{1, 2, 3, 10, 31} {
		white, walk := 0.0, 0.0
		for k := range n {
			impulse, step := make([]float64, n), make([]float64, n)
			impulse[k] = 1
			for i := k; i < n; i++ {
				step[i] = 1
			}
			white += variance(impulse, m)
			walk += variance(step, m)
		}
		near(t, "white", white, 1/float64(m), 1e-12)
		near(t, "walk", walk, (2*float64(m)*float64(m)+1)/(6*float64(m)), 1e-12)
	}
}

func variance(values []float64, m int) float64 {
	p := stability.Overlapping(stability.Evenly(1, values), []int{m})[0]
	return p.DeviationAmperes * p.DeviationAmperes
}

// slowAllan is the definition word by word: half the mean square of the difference of two averages of m readings that follow one another, beginning
// at every reading of every segment or, not overlapping, at every m-th.
func slowAllan(segments [][]float64, m, stride int) (deviation float64, terms int) {
	sum := 0.0
	for _, s := range segments {
		for from := 0; from+2*m <= len(s); from += stride {
			first, second := 0.0, 0.0
			for i := range m {
				first += s[from+i] / float64(m)
				second += s[from+m+i] / float64(m)
			}
			sum += (second - first) * (second - first)
			terms++
		}
	}
	return math.Sqrt(sum / float64(2*terms)), terms
}

// slowModified averages the difference over m beginnings before it is squared.
func slowModified(segments [][]float64, m int) (deviation float64, terms int) {
	sum := 0.0
	for _, s := range segments {
		for from := 0; from+3*m-1 <= len(s); from++ {
			d := 0.0
			for shift := range m {
				for i := range m {
					d += (s[from+shift+m+i] - s[from+shift+i]) / float64(m*m)
				}
			}
			sum += d * d
			terms++
		}
	}
	return math.Sqrt(sum / float64(2*terms)), terms
}

func TestDeviationsEqualSlowOnes(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		segments := rapid.SliceOfN(rapid.SliceOfN(rapid.Float64Range(-100, 100), 2, 40), 1, 4).Draw(t, "segments")
		g := stability.Evenly(0.5, segments...)
		m := rapid.IntRange(1, 20).Draw(t, "m")
		for name, each := range map[string]struct {
			points []stability.Point
			slow   func() (float64, int)
		}{
			"overlapping": {stability.Overlapping(g, []int{m}), func() (float64, int) { return slowAllan(segments, m, 1) }},
			"plain":       {stability.Plain(g, []int{m}), func() (float64, int) { return slowAllan(segments, m, m) }},
			"modified":    {stability.Modified(g, []int{m}), func() (float64, int) { return slowModified(segments, m) }},
		} {
			want, terms := each.slow()
			if terms == 0 {
				if len(each.points) > 0 {
					t.Fatalf("%s m=%d: a point without terms", name, m)
				}
				continue
			}
			p := each.points[0]
			if p.Terms != terms || math.Abs(p.DeviationAmperes-want) > 1e-9*(1+want) || p.TauSeconds != float64(m)/2 {
				t.Fatalf("%s m=%d: %+v, want %g of %d terms", name, m, p, want, terms)
			}
		}
	})
}

func TestAveragingFactors(t *testing.T) {
	g := stability.Evenly(1, make([]float64, 5), make([]float64, 13))
	if got := stability.Octaves(g); len(got) != 3 || got[2] != 4 {
		t.Errorf("octaves %v, want 1 2 4", got)
	}
	if got := stability.AllFactors(g); len(got) != 6 || got[5] != 6 {
		t.Errorf("all factors %v, want 1 to 6", got)
	}
}

// A constant leaves no trace, and a great one costs no digits.
func TestOffsetIsInvisible(t *testing.T) {
	small, great := nist1000(), nist1000()
	for i := range great {
		great[i] += 1 << 20
	}
	for _, m := range []int{1, 100} {
		near(t, "deviation about 2^20 A", math.Sqrt(variance(great, m)), math.Sqrt(variance(small, m)), 1e-9)
	}
}

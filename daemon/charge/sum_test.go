package charge

import (
	"math"
	"testing"
)

func TestSumKeepsWhatAPlainOneLoses(t *testing.T) {
	var s sum
	for _, term := range []float64{1, 1e100, 1, -1e100} { // the example of Neumaier (1974): plain and Kahan's sums give 0
		s.add(term)
	}
	if got := s.value(); got != 2 {
		t.Errorf("sum %v, want 2", got)
	}
}

func TestMicrocoulombs(t *testing.T) {
	for name, test := range map[string]struct {
		sum  sum
		want int64
	}{
		"zero":                            {sum{}, 0},
		"up":                              {sum{0.0000016, 0}, 2},
		"down":                            {sum{-0.0000016, 0}, -2},
		"half goes away from zero":        {sum{0, 0.5e-6}, 1},
		"the low part decides":            {sum{1, -0.6e-6}, 999_999},
		"beyond the steps of a float64":   {sum{1e11, 3e-6}, 100_000_000_000_000_003},
		"and below":                       {sum{-1e11, 3e-6}, -99_999_999_999_999_997},
		"stops at the limit":              {sum{1e13, 0}, 4e18},
		"stops at the limit, negative":    {sum{-1e300, 0}, -4e18},
		"just below the limit it goes on": {sum{limitCoulombs - 1, 0.25}, 3_999_999_999_999_250_000},
	} {
		if got := test.sum.microcoulombs(); got != test.want {
			t.Errorf("%s: %d, want %d", name, got, test.want)
		}
	}
}

// A million times a current that no float64 holds exactly: the sum is that of exact arithmetic although each addition rounds.
func TestSumDoesNotDrift(t *testing.T) {
	var s sum
	const n = 1_000_000
	for range n {
		s.add(0.1)
	}
	if want := math.FMA(n, 0.1, 0); s.value() != want {
		t.Errorf("sum %.17g, want %.17g", s.value(), want)
	}
}

// Whichever way a block is summed, the parts are the same up to the order of the additions.
func TestBlockOfEitherSign(t *testing.T) {
	for name, test := range map[string]struct {
		amperes []float64
		want    parts
	}{
		"empty":        {nil, parts{}},
		"out":          {[]float64{1, 2, 3, 4, 5, 6}, parts{21, 0, 91}},
		"in":           {[]float64{-1, -2, -3, -4, -5, -6}, parts{0, 21, 91}},
		"both":         {[]float64{1, -2, 3, -4, 5, -6}, parts{9, 12, 91}},
		"in a tail":    {[]float64{1, 2, 3, 4, -5}, parts{10, 5, 55}},
		"a minus zero": {[]float64{1, 2, math.Copysign(0, -1), 4, 5}, parts{12, 0, 46}},
	} {
		if got := block(test.amperes); got != test.want {
			t.Errorf("%s: %+v, want %+v", name, got, test.want)
		}
	}
}

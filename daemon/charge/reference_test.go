package charge_test

import (
	"math"
	"math/big"
	"slices"
	"testing"

	"github.com/ampledger/ampledger/daemon/charge"
	"github.com/ampledger/ampledger/daemon/referencetest"
)

// certified is one set of the NIST StRD univariate collection.
type certified struct {
	name     string
	mean, sd float64
	data     []float64
}

// The mean of a set is its charge over its duration if every datum is the mean current of one second. Certified values: NIST/ITL
// Statistical Reference Datasets, univariate summary statistics; NumAcc1 to 4 after Simon and Lesage (1989).
func TestMeanOfNISTUnivariateSets(t *testing.T) {
	for _, set := range nist(t) {
		t.Run(set.name, func(t *testing.T) {
			r := averaged(regular(1, second, set.data...))
			zero := averaged(regular(0, second, 0)) // takes the place of the first, which without a period stands for no time
			for path, account := range map[string]*charge.Account{
				"regular": count(t, plain, r), "irregular": count(t, plain, zero, irregular(r)),
			} {
				t.Run(path, func(t *testing.T) { checkCertified(t, account.Totals(), set) })
			}
		})
	}
}

// checkCertified compares with the certified digits. Every set is a sum of whole microcoulombs, so the mean has no error but that of one
// division. The standard deviation follows from the squares wherever these have not swallowed it: squares of whole numbers add up
// exactly, but those of NumAcc3 and NumAcc4 have no digit left for it in 53 bits.
func checkCertified(t *testing.T, totals charge.Totals, set certified) {
	n := float64(len(set.data))
	near(t, "mean", float64(totals.Net())/1e6/n, set.mean, 1e-15)
	tolerance := 4e-16 * totals.SquareAmpereSeconds / (set.sd * set.sd * (n - 1))
	if slices.IndexFunc(set.data, func(x float64) bool { return x != math.Trunc(x) }) < 0 {
		tolerance = 0
	}
	if tolerance > 1e-6 {
		t.Logf("standard deviation not checked: lost by cancellation (%.0g)", tolerance)
		return
	}
	near(t, "standard deviation", deviation(totals, int64(len(set.data))), set.sd, max(tolerance, 1e-14))
}

// deviation is the standard deviation of n readings of one second, without further rounding.
func deviation(totals charge.Totals, n int64) float64 {
	sum, squares := big.NewRat(totals.Net(), 1e6), new(big.Rat).SetFloat64(totals.SquareAmpereSeconds)
	squares.Sub(squares, sum.Mul(sum, sum).Quo(sum, big.NewRat(n, 1)))
	variance, _ := squares.Quo(squares, big.NewRat(n-1, 1)).Float64()
	return math.Sqrt(variance)
}

// nist reads the sets and generates those that are given as a rule.
func nist(t *testing.T) []certified {
	t.Helper()
	data := map[string][]float64{
		"NumAcc1": {10000001, 10000003, 10000002}, "NumAcc2": alternating(1), "NumAcc3": alternating(1000000), "NumAcc4": alternating(10000000),
		"PiDigits": piDigits(),
	}
	for _, row := range referencetest.Table(t, "reference/nist_univariate_data.csv") {
		data[row["dataset"]] = append(data[row["dataset"]], referencetest.Number(t, row["value"]))
	}
	var sets []certified
	for _, row := range referencetest.Table(t, "reference/nist_univariate.csv") {
		set := certified{row["dataset"], referencetest.Number(t, row["mean"]), referencetest.Number(t, row["sd"]), data[row["dataset"]]}
		if float64(len(set.data)) != referencetest.Number(t, row["n"]) {
			t.Fatalf("%s has %d values, want %s", set.name, len(set.data), row["n"])
		}
		sets = append(sets, set)
	}
	if len(sets) != 9 {
		t.Fatalf("%d sets, want 9", len(sets))
	}
	return sets
}

// alternating is base + 0.2 once, then 500 times base + 0.1 and base + 0.3.
func alternating(base float64) []float64 {
	// Adding would round otherwise than reading the decimal does.
	decimal := func(tenths float64) float64 { return (base*10 + tenths) / 10 }
	all := []float64{decimal(2)}
	for range 500 {
		all = append(all, decimal(1), decimal(3))
	}
	return all
}

// piDigits gives the set's 5000 digits: those of pi by Machin's formula, except that number 957 is 3 in the set and 8 in pi.
func piDigits() []float64 {
	const digits, guard = 5000, 10
	one := new(big.Int).Exp(big.NewInt(10), big.NewInt(digits+guard), nil)
	pi := new(big.Int).Mul(arctanInverse(one, 5), big.NewInt(16))
	pi.Sub(pi, new(big.Int).Mul(arctanInverse(one, 239), big.NewInt(4)))
	all := make([]float64, digits)
	for k, digit := range pi.String()[:digits] {
		all[k] = float64(digit - '0')
	}
	all[957-1] = 3
	return all
}

// arctanInverse gives arctan(1/x) in units of 1/one by its power series.
func arctanInverse(one *big.Int, x int64) *big.Int {
	square := big.NewInt(-x * x)
	power := new(big.Int).Quo(one, big.NewInt(x))
	sum := new(big.Int)
	for n := int64(1); power.Sign() != 0; n += 2 {
		sum.Add(sum, new(big.Int).Quo(power, big.NewInt(n)))
		power.Quo(power, square)
	}
	return sum
}

package table

import (
	"fmt"
	"math/big"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func TestParseSeconds(t *testing.T) {
	for _, c := range []struct {
		text string
		want int64
	}{
		{"0", 0}, {"0.1", 100000000}, {"-0.5", -500000000}, {"+2", 2000000000}, {"1.", 1000000000}, {".25", 250000000},
		{"942835.4", 942835400000000}, {"1700000000.123456789", 1700000000123456789}, {"3000000000", 3000000000000000000},
		{"1.5e3", 1500000000000}, {"1.5E-3", 1500000}, {"123456e-5", 1234560000}, {"1e9", 1e18}, {"0e999999999999", 0}, {"1e-999999999999", 0},
		{"0.0000000004", 0}, {"0.0000000005", 1}, {"-0.0000000005", -1}, {"0.00000000049999", 0}, {"5e-10", 1}, {"4e-10", 0}, {"9e-11", 0},
		{"0.1234567895", 123456790}, {"1.00000000000000000000000000001", 1000000000}, {"-0", 0},
		{"0." + strings.Repeat("0", 2000) + "1e2001", 1000000000},
	} {
		got, err := ParseSeconds([]byte(c.text))
		if err != nil || got != c.want {
			t.Errorf("ParseSeconds(%q) = %d, %v, want %d", c.text, got, err, c.want)
		}
	}
}

func TestParseSecondsFaults(t *testing.T) {
	for text, want := range map[string]string{
		"":                      `"" is no time in seconds`,
		".":                     `"." is no time in seconds`,
		"-":                     `"-" is no time in seconds`,
		"e3":                    `"e3" is no time in seconds`,
		"1e":                    `"1e" is no time in seconds`,
		"1e+":                   `"1e+" is no time in seconds`,
		"1e2.5":                 `"1e2.5" is no time in seconds`,
		"1.2.3":                 `"1.2.3" is no time in seconds`,
		"--1":                   `"--1" is no time in seconds`,
		"nan":                   `"nan" is no time in seconds`,
		"inf":                   `"inf" is no time in seconds`,
		"12:30":                 `"12:30" is no time in seconds`,
		"0x10":                  `"0x10" is no time in seconds`,
		"3000000000.000001":     `"3000000000.000001" is beyond ±3000000000 s, times are in seconds`,
		"1700000000000":         `"1700000000000" is beyond ±3000000000 s, times are in seconds`,
		"-1e300":                `"-1e300" is beyond ±3000000000 s, times are in seconds`,
		strings.Repeat("9", 50): `"` + strings.Repeat("9", 40) + `"… is beyond ±3000000000 s, times are in seconds`,
	} {
		if got, err := ParseSeconds([]byte(text)); err == nil || err.Error() != want {
			t.Errorf("ParseSeconds(%q) = %d, %v, want error %s", text, got, err, want)
		}
	}
}

// slowNanos is the obvious version: a rational number, rounded half away from zero.
func slowNanos(text string) *big.Int {
	r, ok := new(big.Rat).SetString(text)
	if !ok {
		return nil
	}
	r.Mul(r, big.NewRat(2_000_000_000, 1))
	half := big.NewRat(1, 1)
	if r.Sign() < 0 {
		half.Neg(half)
	}
	r.Add(r, half)
	return new(big.Int).Quo(r.Num(), new(big.Int).Mul(big.NewInt(2), r.Denom()))
}

func TestSecondsAgreeWithRationals(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		text := rapid.StringMatching(`[-+]?([0-9]{1,10}(\.[0-9]{0,14})?|\.[0-9]{1,14})(e[-+]?[0-9])?`).Draw(t, "text")
		got, err := ParseSeconds([]byte(text))
		want := slowNanos(text)
		switch {
		case want.CmpAbs(big.NewInt(maxNanos)) > 0:
			if err == nil {
				t.Fatalf("%s reads as %d, want an error", text, got)
			}
		case err != nil || got != want.Int64():
			t.Fatalf("%s reads as %d, %v, want %v", text, got, err, want)
		}
	})
}

func TestNanosecondsWrittenReadEqual(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		want := rapid.Int64Range(-maxNanos, maxNanos).Draw(t, "nanos")
		magnitude, sign := want, ""
		if want < 0 {
			magnitude, sign = -want, "-"
		}
		text := fmt.Sprintf("%s%d.%09d", sign, magnitude/1e9, magnitude%1e9)
		if got, err := ParseSeconds([]byte(text)); err != nil || got != want {
			t.Fatalf("%s reads as %d, %v, want %d", text, got, err, want)
		}
	})
}

func FuzzParseSeconds(f *testing.F) {
	f.Add("0.1")
	f.Fuzz(func(t *testing.T, text string) {
		nanos, err := ParseSeconds([]byte(text))
		if err != nil {
			return
		}
		// What reads as a time is a number, and as floating point comes near.
		value, numberErr := ParseNumber([]byte(text))
		if numberErr != nil {
			t.Fatalf("%q is a time, %d ns, and no number", text, nanos)
		}
		if gap := value*1e9 - float64(nanos); gap > 1+1e-15*float64(maxNanos) || -gap > 1+1e-15*float64(maxNanos) {
			t.Fatalf("%q reads as %d ns and as %v s", text, nanos, value)
		}
	})
}

func TestParseNumber(t *testing.T) {
	for _, text := range []string{"1", "-0.07105", "+1e-5", "1E300", "nan", "-Inf", ".5", "5.", "0.1000000000000000055511151231257827021181583404541015625"} {
		want, err := strconv.ParseFloat(text, 64)
		if err != nil {
			t.Fatal(err)
		}
		if got, err := ParseNumber([]byte(text)); err != nil || (got != want && want == want) {
			t.Errorf("ParseNumber(%q) = %v, %v, want %v", text, got, err, want)
		}
	}
	for _, text := range []string{"", "abc", "0x10", "-0X1p4", "0x_1p0", "1_000", "1,5", "1 2", "1e999", "1.5A"} {
		want := strconv.Quote(text) + " is no number"
		if got, err := ParseNumber([]byte(text)); err == nil || err.Error() != want {
			t.Errorf("ParseNumber(%q) = %v, %v, want error %s", text, got, err, want)
		}
	}
}

package inspection

import (
	"fmt"
	"math"
)

const (
	mostUnusable = 0.001 // share of the readings
	coverage     = 3     // deviations within which figures agree
	noiseTimes   = 2     // the noise may be so many times what is stated
	fewestCounts = 400   // of the full scale to one side: a count is a quarter of a percent then
	mostGCD      = 255   // raw values that differ by multiples of more have their bytes in the wrong order
)

func usable(c *Channel, _ Flow) (Verdict, string) {
	all := len(c.Amperes) + c.Unusable
	switch {
	case all == 0:
		return Failed, "no reading came: look at the driver, the wiring and the bus"
	case float64(c.Unusable) > mostUnusable*float64(all):
		return Failed, fmt.Sprintf("%d of %d readings are unusable (saturated, missing, out of range): `ampledger watch` says why", c.Unusable, all)
	}
	return Passed, fmt.Sprintf("%d of %d", len(c.Amperes), all)
}

func direction(c *Channel, flow Flow) (Verdict, string) {
	m := mean(c.Amperes)
	u := c.systematic(m)
	says := fmt.Sprintf("reads %+.4g A ± %.2g A (standard)", m, u)
	sign := map[Flow]float64{Positive: 1, Negative: -1}[flow]
	switch {
	case flow == Unknown:
		return Untold, says + "; nothing is known of what flows: say --state"
	case flow == Nothing && math.Abs(m) > coverage*u:
		return Failed, says + ", though nothing flows: more than three times what is stated of its zero; take a zero, or look for a path that was forgotten"
	case flow == Nothing:
		return Passed, says + " where nothing flows"
	case math.Abs(m) <= coverage*u:
		return Untold, says + ": too small a current to tell its direction"
	case m*sign < 0:
		return Failed, says + ", against what flows: it is mounted or wired backwards; turn it around, or write reversed: true"
	}
	return Passed, says
}

func noise(c *Channel, _ Flow) (Verdict, string) {
	d := c.deviation()
	switch {
	case c.NoiseAmperes == 0:
		return Untold, fmt.Sprintf("%.3g A a reading; noise_amperes states none to hold it against", d)
	case d > noiseTimes*c.NoiseAmperes:
		return Failed, fmt.Sprintf("%.3g A a reading, %.2g times what is stated (%.3g A): look for pick-up, a loose screen or a current that moves", d, d/c.NoiseAmperes, c.NoiseAmperes)
	}
	return Passed, fmt.Sprintf("%.3g A a reading, %.3g A are stated", d, c.NoiseAmperes)
}

// perCount gives amperes and raw units between the two readings farthest apart.
func (c *Channel) perCount() (amperes float64, known bool) {
	if !c.Counts || len(c.Raw) != len(c.Amperes) {
		return 0, false
	}
	least, greatest := 0, 0
	for i, raw := range c.Raw {
		if raw < c.Raw[least] {
			least = i
		}
		if raw > c.Raw[greatest] {
			greatest = i
		}
	}
	if c.Raw[least] == c.Raw[greatest] {
		return 0, false
	}
	return math.Abs((c.Amperes[greatest] - c.Amperes[least]) / (c.Raw[greatest] - c.Raw[least])), true
}

func counts(c *Channel, _ Flow) (Verdict, string) {
	step, known := c.perCount()
	if !known || c.FullScaleAmperes == 0 {
		return Untold, "no counts are known, or all readings are of one: let some current flow"
	}
	full := c.FullScaleAmperes / step
	says := fmt.Sprintf("a count is %.3g A, full scale %.4g A is %.0f of them", step, c.FullScaleAmperes, full)
	if full < fewestCounts {
		return Failed, says + ": the signal is too small for the converter; more gain, or a shunt of more resistance"
	}
	return Passed, says
}

// order looks whether raw counts move by single ones: with bytes or words in the wrong order what moves most stands in the lowest places and the
// rest hardly moves.
func order(c *Channel, _ Flow) (Verdict, string) {
	divisor, distinct := int64(0), map[float64]bool{}
	for _, raw := range c.Raw {
		if !c.Counts || raw != math.Trunc(raw) || math.Abs(raw) > 1<<53 {
			return Untold, "the raw values are no counts"
		}
		distinct[raw] = true
		divisor = gcd(divisor, int64(math.Abs(raw-c.Raw[0])))
	}
	switch {
	case len(distinct) < 5:
		return Untold, fmt.Sprintf("%d different counts tell nothing of their order", len(distinct))
	case divisor > mostGCD:
		return Failed, fmt.Sprintf("raw counts move by multiples of %d only: bytes or words stand in the wrong order, or low ones are lost", divisor)
	}
	return Passed, fmt.Sprintf("%d different counts, all multiples of %d apart", len(distinct), divisor)
}

func gcd(a, b int64) int64 {
	for b != 0 {
		a, b = b, a%b
	}
	return a
}

func scale(c *Channel, flow Flow) (Verdict, string) {
	most := 0.0
	for _, a := range c.Amperes {
		most = max(most, math.Abs(a))
	}
	switch {
	case c.FullScaleAmperes == 0:
		return Untold, fmt.Sprintf("at most %.4g A; its full scale is not known", most)
	case flow == Nothing && most > c.FullScaleAmperes/10:
		return Failed, fmt.Sprintf("up to %.4g A where nothing flows, a tenth of full scale (%.4g A): scale, zero or order of bytes is wrong", most, c.FullScaleAmperes)
	case most > 0.95*c.FullScaleAmperes:
		return Failed, fmt.Sprintf("up to %.4g A of %.4g A: it saturates, or the scale is wrong", most, c.FullScaleAmperes)
	}
	return Passed, fmt.Sprintf("at most %.4g A, %.2g %% of full scale (%.4g A)", most, 100*most/c.FullScaleAmperes, c.FullScaleAmperes)
}

// agreement holds the means of two channels against each other.
func agreement(a, b *Channel) Finding {
	f := Finding{Check: "agreement", Channel: a.Name + " and " + b.Name, Verdict: Untold, Text: "too few readings: look for longer"}
	if len(a.Amperes) < fewest || len(b.Amperes) < fewest {
		return f
	}
	x, y := mean(a.Amperes), mean(b.Amperes)
	u := math.Hypot(a.systematic(x), b.systematic(y))
	f.Verdict, f.Text = Passed, fmt.Sprintf("%+.5g A and %+.5g A differ by %.3g A, %.2g A (standard) are stated", x, y, math.Abs(x-y), u)
	if !(math.Abs(x-y) <= coverage*u) {
		f.Verdict = Failed
		f.Text += hint(x, y, u)
	}
	return f
}

// hint names what two readings of one current may have.
func hint(x, y, u float64) string {
	ratio := max(math.Abs(x), math.Abs(y)) / min(math.Abs(x), math.Abs(y))
	n := math.Round(ratio)
	switch {
	case math.Abs(x+y) <= coverage*u:
		return ": one of them is mounted backwards"
	case n >= 2 && n <= 20 && math.Abs(ratio/n-1) < 0.03:
		return fmt.Sprintf(": one reads %.0f times the other: primary turns, gain or shunt are not as configured", n)
	}
	return ": zero, gain or scale of one of them is not as stated"
}

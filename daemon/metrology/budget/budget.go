package budget

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// Budget is a table of contributions, independent of each other.
type Budget []Contribution

// Combined is the combined standard uncertainty.
func (b Budget) Combined() float64 {
	sum := 0.0
	for _, c := range b {
		sum = math.Hypot(sum, c.Amount())
	}
	return sum
}

// Share is the part of the combined variance that a line makes, 0 to 1; 0 if there is none.
func (b Budget) Share(line int) float64 {
	combined := b.Combined()
	if combined == 0 {
		return 0
	}
	ratio := b[line].Amount() / combined
	return ratio * ratio
}

// EffectiveDegreesOfFreedom are those of the combined uncertainty by the formula of Welch and Satterthwaite; +Inf if every line that adds something
// is exactly known.
func (b Budget) EffectiveDegreesOfFreedom() float64 {
	combined, sum := b.Combined(), 0.0
	for _, c := range b {
		if combined > 0 {
			sum += math.Pow(c.Amount()/combined, 4) / c.DegreesOfFreedom
		}
	}
	return 1 / sum
}

// Coverage gives the factor of an interval that holds the result with a probability between 0 and 1, such as 0.95.
func (b Budget) Coverage(probability float64) float64 {
	return Student(probability, b.EffectiveDegreesOfFreedom())
}

// Expanded is half the width of that interval.
func (b Budget) Expanded(probability float64) float64 {
	return b.Coverage(probability) * b.Combined()
}

// Student gives the factor t of an interval of ±t standard deviations that holds a value with a probability. Degrees of freedom are truncated to a
// whole number, at least 1 (GUM G.4.1); infinite ones give the normal distribution.
func Student(probability, degreesOfFreedom float64) float64 {
	tail := (1 + probability) / 2
	const asGoodAsInfinite = 1e9
	if degreesOfFreedom > asGoodAsInfinite {
		return distuv.UnitNormal.Quantile(tail)
	}
	return distuv.StudentsT{Sigma: 1, Nu: max(1, math.Floor(degreesOfFreedom))}.Quantile(tail)
}

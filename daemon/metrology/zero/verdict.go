package zero

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat/distuv"

	"github.com/ampledger/ampledger/daemon/metrology/stability"
)

const (
	unlikely        = 0.005 // probability of a trend, or of another movement, below which chance is no explanation; 0.01 for both
	fewestEffective = 5     // independent readings; with fewer nothing is known of the noise itself
)

// Verdict tells whether a rest was steady enough for its mean to be a zero.
type Verdict struct {
	Stable bool
	Reason string // why not; empty if it is

	TrendAmperesPerSecond float64 // of the straight line through the readings
	TrendUncertainty      float64 // A/s
	TrendProbability      float64 // of such a trend by chance
	StepAmperes           float64 // of the one step that fits best
	StepSeconds           float64 // when: the first reading after it, from the rest's begin
	MovementProbability   float64 // of so large an excursion of the cumulated sum by chance
}

// judge holds a rest against a line and a step.
func judge(rest *stability.Log, whole correlation) (v Verdict) {
	n := len(rest.Amperes)
	line, step := fitLine(rest), fitStep(rest.Amperes)
	v.TrendAmperesPerSecond, v.StepAmperes, v.StepSeconds = line.slope, step.amperes, seconds(rest, step.at)
	better := line.residuals
	if lagged(step.residuals, 0) < lagged(line.residuals, 0) {
		better = step.residuals
	}
	noise := correlate(better)
	v.TrendUncertainty = line.uncertainty(noise)
	v.TrendProbability = chance(line.slope, v.TrendUncertainty, noise.freedom(n))
	v.MovementProbability = kolmogorov(excursion(rest.Amperes, noise))
	v.Reason = v.reason(lagged(step.residuals, 0) < lagged(line.residuals, 0), noise, n)
	if effective := float64(n) / whole.inflated; v.Reason == "" && (!whole.closed || effective < fewestEffective) {
		v.Reason = fmt.Sprintf("the readings hang together over the whole rest (they are worth %.2g independent ones): take a longer rest", effective)
	}
	v.Stable = v.Reason == ""
	return v
}

// reason names the movement, if there is one.
func (v Verdict) reason(stepped bool, noise correlation, n int) string {
	moved := v.MovementProbability < unlikely
	switch u := math.Sqrt(4 * noise.meanVariance(n)); { // of the difference of two halves
	case moved && stepped:
		return fmt.Sprintf("a step of %+.3g A after %.4g s (two halves of this noise differ by %.2g A): current flowed, or the sensor changed",
			v.StepAmperes, v.StepSeconds, u)
	case moved || v.TrendProbability < unlikely:
		return fmt.Sprintf("a trend of %+.3g ± %.2g A/h: the zero moved, or current decayed", v.TrendAmperesPerSecond*3600, v.TrendUncertainty*3600)
	}
	return ""
}

// chance is the probability of a value as far from 0 or farther (Student).
func chance(value, uncertainty, freedom float64) float64 {
	if value == 0 {
		return 1
	}
	return 2 * distuv.StudentsT{Sigma: 1, Nu: freedom}.Survival(math.Abs(value)/uncertainty)
}

// excursion is the largest cumulated sum of distances from the mean, over √n times the noise.
func excursion(amperes []float64, noise correlation) float64 {
	sum, most, centre := 0.0, 0.0, mean(amperes)
	for _, a := range amperes {
		sum += a - centre
		most = max(most, math.Abs(sum))
	}
	if most == 0 || lagged(about(amperes, centre), 0) == 0 {
		return 0
	}
	return most / math.Sqrt(float64(len(amperes))*noise.variance*noise.inflated)
}

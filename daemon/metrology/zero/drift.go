package zero

import (
	"fmt"
	"math"

	"github.com/ampledger/ampledger/daemon/metrology/polynomial"
)

// At is a zero found at a temperature.
type At struct {
	Celsius            float64
	Amperes            float64
	UncertaintyAmperes float64 // standard, greater than 0
}

// Drift is how the zero follows the temperature: a straight line.
type Drift struct {
	ReferenceCelsius         float64
	OffsetAmperes            float64 // at the reference temperature
	OffsetUncertaintyAmperes float64
	SlopeAmperesPerKelvin    float64
	SlopeUncertainty         float64 // A/K
	Correlation              float64 // of offset and slope, −1 to 1
	Birge                    float64 // how far the zeros lie from the line in units of their uncertainties; NaN = two zeros tell nothing of it
	Enlarged                 float64 // factor that the uncertainties were multiplied by, 1 or Birge: the zeros disagree with a line (χ², below 5 %)
	LowestCelsius            float64 // between which the line holds
	HighestCelsius           float64

	fit *polynomial.Fit
}

// inconsistent is the probability below which zeros disagree with a line.
const inconsistent = 0.05

// FitDrift makes the line of zeros at two different temperatures or more, weighed by their uncertainties. The error says what is wrong with them.
func FitDrift(zeros []At, referenceCelsius float64) (*Drift, error) {
	v := polynomial.Values{Uncertainty: []float64{}}
	d := &Drift{ReferenceCelsius: referenceCelsius, LowestCelsius: math.Inf(1), HighestCelsius: math.Inf(-1), Enlarged: 1}
	for _, z := range zeros {
		v.X, v.Y, v.Uncertainty = append(v.X, z.Celsius-referenceCelsius), append(v.Y, z.Amperes), append(v.Uncertainty, z.UncertaintyAmperes)
		d.LowestCelsius, d.HighestCelsius = min(d.LowestCelsius, z.Celsius), max(d.HighestCelsius, z.Celsius)
	}
	f, err := polynomial.New(v, polynomial.Shape{Degree: 1})
	if err != nil {
		return nil, fmt.Errorf("zeros over temperature: %w", err)
	}
	if d.Birge = f.ResidualDeviation(); d.Birge > 1 && f.Consistency() < inconsistent {
		d.Enlarged = d.Birge
	}
	d.fit = f
	d.OffsetAmperes, d.OffsetUncertaintyAmperes = f.Coefficients[0], d.Enlarged*math.Sqrt(f.Covariance[0][0])
	d.SlopeAmperesPerKelvin, d.SlopeUncertainty = f.Coefficients[1], d.Enlarged*math.Sqrt(f.Covariance[1][1])
	d.Correlation = f.Correlation(0, 1)
	return d, nil
}

// Zero gives the zero at a temperature and its standard uncertainty, with the covariance of offset and slope. Outside of the lowest and highest
// temperature it is a guess.
func (d *Drift) Zero(celsius float64) (amperes, uncertainty float64) {
	y, u := d.fit.At(celsius - d.ReferenceCelsius)
	return y, d.Enlarged * u
}

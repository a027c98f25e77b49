package sensor

import (
	"errors"
	"fmt"
	"math"

	"github.com/ampledger/ampledger/daemon/scan"
)

// None stands for an input that is not wired.
const None = -1

// Config is one channel's sensor.
type Config struct {
	Model       Model
	Heating     *Heating // a shunt's own warmth where no temperature is wired; nil = none
	Input       int      // column of the raw value
	Temperature int      // column of the temperature in °C, or None: the reference temperature is assumed
	Supply      int      // column of the supply in volts, or None: the nominal one is assumed

	VoltsPerCount  float64 // of the converter; 1 if the raw value is volts (or amperes) already
	ZeroCountVolts float64 // volts at raw value 0
	Counts         bool    // raw values are counts of VoltsPerCount each: they are quantised
	RangeKnown     bool    // the two limits below hold
	MinimumRaw     float64 // a raw value at or below it is saturated
	MaximumRaw     float64 // a raw value at or above it is saturated

	Reversed       bool        // mounted backwards: the sign is changed
	CalibrationA0  float64     // amperes; y = (x − a₀)/a₁
	CalibrationA1  float64     // 1 = none; not 0
	Correction     *Correction // found at commissioning, after all of these; nil = none
	MaximumAmperes float64     // a reading beyond it in magnitude is out of range; +Inf = no limit
	Averaged       bool        // a raw value is the mean over the interval that ends at its time

	NoiseAmperes float64 // standard deviation of one reading, quantisation apart, ≥ 0
	ZeroAmperes  float64 // standard uncertainty of the zero, quantisation apart, ≥ 0
	GainRatio    float64 // relative standard uncertainty of the gain, ≥ 0
}

func (c *Config) validate() error {
	var faults []error
	if c.Model == nil {
		return errors.New("no kind of sensor is given")
	}
	faults = append(faults, c.Model.validate(), nonzero("volts per count", c.VoltsPerCount), nonzero("calibration gain", c.CalibrationA1),
		finite("calibration or uncertainty", c.ZeroCountVolts, c.CalibrationA0, c.NoiseAmperes, c.ZeroAmperes, c.GainRatio))
	if c.NoiseAmperes < 0 || c.ZeroAmperes < 0 || c.GainRatio < 0 {
		faults = append(faults, errors.New("an uncertainty is negative"))
	}
	if c.Input < 0 || c.Temperature < None || c.Supply < None {
		faults = append(faults, errors.New("an input is negative"))
	}
	if c.RangeKnown && !(c.MinimumRaw < c.MaximumRaw) {
		faults = append(faults, fmt.Errorf("raw values range from %g to %g", c.MinimumRaw, c.MaximumRaw))
	}
	if math.IsNaN(c.MaximumAmperes) || c.MaximumAmperes <= 0 {
		faults = append(faults, errors.New("maximum amperes must be above 0"))
	}
	if c.Correction != nil {
		faults = append(faults, c.Correction.validate(c.Temperature))
	}
	if c.Heating != nil {
		if _, is := c.Model.(*Shunt); !is || c.Temperature != None {
			faults = append(faults, errors.New("self-heating is for a shunt without a wired temperature"))
		}
		faults = append(faults, c.Heating.validate())
	}
	return errors.Join(faults...)
}

// Sensor is the stage. See the package comment.
type Sensor struct {
	Config
	bend     bend // beside the line
	isBent   bool
	fixed    line    // raw value to amperes at the reference temperature and supply
	limit    float64 // amperes; MaximumAmperes, or what a float64 holds
	noise    float64 // amperes, with the rounding of a dithered converter
	rounding float64 // amperes, of one that is not: common to all readings
	zero     float64 // amperes: of the zero and the rounding
	warmth   warmth
	amperes  []float64
	raw      []float64
	quality  []scan.Quality
}

// line is amperes = raw·slope + intercept.
type line struct{ slope, intercept float64 }

// at rounds twice on every processor: without the conversion some fuse the two steps and give other bits.
func (l line) at(raw float64) float64 { return float64(raw*l.slope) + l.intercept }

// sound tells that the line gives every finite raw value amperes, be they beyond all range.
func (l line) sound() bool { return isFinite(l.slope) && isFinite(l.intercept) }

// follows tells that a line for another temperature and supply can be of the same sensor: neither turns its direction around.
func (l line) follows(reference line) bool {
	return l.sound() && l.slope != 0 && math.Signbit(l.slope) == math.Signbit(reference.slope)
}

// New makes the stage, or says everything that is wrong with the configuration.
func New(c Config) (*Sensor, error) {
	if err := c.validate(); err != nil {
		return nil, err
	}
	s := &Sensor{Config: c, limit: min(c.MaximumAmperes, math.MaxFloat64)}
	s.takeCorrection()
	if s.fixed = s.lineAt(c.Model.reference()); !s.fixed.sound() || s.fixed.slope == 0 {
		return nil, fmt.Errorf("amperes = raw value · %g + %g: the figures together make no sensor", s.fixed.slope, s.fixed.intercept)
	}
	s.noise, s.rounding = s.split()
	s.zero = math.Hypot(s.ZeroAmperes, s.rounding)
	s.warmth = newWarmth(c.Heating)
	return s, nil
}

// lineAt composes converter, model, direction and calibration to one line.
func (s *Sensor) lineAt(celsius, supplyVolts float64) line {
	slope, intercept := s.Model.line(celsius, supplyVolts)
	intercept += s.ZeroCountVolts * slope
	slope *= s.VoltsPerCount
	if s.Reversed {
		slope, intercept = -slope, -intercept
	}
	// Adding 0 turns −0 into 0, so that no current never reads as −0 A.
	l := line{slope / s.CalibrationA1, (intercept-s.CalibrationA0)/s.CalibrationA1 + 0}
	if s.Correction != nil {
		l = s.Correction.line(l, celsius)
	}
	return l
}

// split puts the quantisation where it belongs: a converter dithered by noise of half a count or more rounds independently from
// reading to reading (variance LSB²/12: JCGM 100:2008 F.2.2.1; Widrow, Kollár and Liu 1996); a quiet one repeats the same rounding
// error, which no number of readings averages away.
func (s *Sensor) split() (noise, rounding float64) {
	quantum := s.AmperesPerCount()
	rounding = quantum / math.Sqrt(12)
	if s.NoiseAmperes >= quantum/2 {
		return math.Hypot(s.NoiseAmperes, rounding), 0
	}
	return s.NoiseAmperes, rounding
}

// AmperesPerCount is the size of one count at the reference temperature; 0 if the raw values are not counts.
func (s *Sensor) AmperesPerCount() float64 {
	if !s.Counts {
		return 0
	}
	return math.Abs(s.fixed.slope)
}

// Rounding gives the standard uncertainty of rounding to a count, and whether it is drawn anew for each reading (the converter is dithered) or stays
// the same: 0 if the raw values are not counts. StaticUncertainty has it in its noise or in its zero.
func (s *Sensor) Rounding() (amperes float64, independent bool) {
	return s.AmperesPerCount() / math.Sqrt(12), s.rounding == 0
}

// StaticUncertainty gives the standard uncertainty of one reading before any estimate: noise and zero (each with its share of the
// quantisation) and the relative one of the gain.
func (s *Sensor) StaticUncertainty() (noiseAmperes, zeroAmperes, gainRatio float64) {
	return s.noise, s.zero, s.GainRatio
}

// Limits gives the amperes at which the converter saturates, or MaximumAmperes if it is less, at the reference temperature; infinite if there is no limit.
func (s *Sensor) Limits() (low, high float64) {
	low, high = -s.MaximumAmperes, s.MaximumAmperes
	if s.RangeKnown {
		a, b := s.reads(s.MinimumRaw), s.reads(s.MaximumRaw)
		low, high = max(low, min(a, b)), min(high, max(a, b))
	}
	return low, high
}

// Reads tells that a current lies where the channel neither saturates nor refuses it, at the reference temperature.
func (s *Sensor) Reads(amperes float64) bool {
	raw := (s.bend.indication(amperes) - s.fixed.intercept) / s.fixed.slope
	return math.Abs(amperes) <= s.MaximumAmperes && (!s.RangeKnown || raw > s.MinimumRaw && raw < s.MaximumRaw)
}

// FullScale is the greatest current, in magnitude, that can be read in one direction at least before the converter saturates or
// MaximumAmperes is reached; known is false if there is no limit.
func (s *Sensor) FullScale() (amperes float64, known bool) {
	full := s.MaximumAmperes
	if s.RangeKnown {
		full = min(full, max(math.Abs(s.reads(s.MinimumRaw)), math.Abs(s.reads(s.MaximumRaw))))
	}
	return full, !math.IsInf(full, 1)
}

// reads gives the amperes of a raw value at the reference; where a curve has none, those of its line.
func (s *Sensor) reads(raw float64) float64 {
	v := s.fixed.at(raw)
	if y := s.bend.straighten(v); y == y {
		return y
	}
	return v
}

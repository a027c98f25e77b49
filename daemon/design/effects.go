package design

import (
	"math"

	"github.com/ampledger/ampledger/daemon/metrology/budget"
)

// effect is one source of uncertainty of a channel.
type effect struct {
	budget.Effect
	stated bool // the daemon states it of a reading
}

const (
	unitRatio     = "1"
	unitAmperes   = "A"
	unitPerKelvin = "1/K"
	unitPerYear   = "1/year"
)

// effects lists what makes a reading uncertain at a current and a temperature, so many years after the gain was last made sure. What is not stated,
// or is nothing there, has no line.
func (c *Candidate) effects(current, celsius, years float64) (all []effect) {
	for _, e := range append(c.statedEffects(), c.unstated(current, celsius, years)...) {
		if e.Value != 0 && (e.Constant != 0 || e.PerAmpere != 0) {
			e.DegreesOfFreedom = math.Inf(1) // what is stated is taken as known: no data sheet says how well
			all = append(all, e)
		}
	}
	return all
}

// told says that something is stated of what makes a reading uncertain. A channel of which nothing is would win every comparison.
func (c *Candidate) told() bool {
	ch := c.Channel
	return ch.NoiseAmperes > 0 || ch.ZeroUncertaintyAmperes > 0 || ch.GainUncertaintyRatio > 0 || ch.DataSheet != nil
}

// statedEffects are the sensor stage's.
func (c *Candidate) statedEffects() []effect {
	_, independent := c.Sensor.Rounding()
	rounding := "rounding to a count, same for all"
	if independent {
		rounding = "rounding to a count, dithered by the noise"
	}
	stated := []budget.Effect{
		{Source: "noise of a reading", Value: c.Sensor.NoiseAmperes, Unit: unitAmperes, Constant: 1, Independent: true},
		{Source: rounding, Value: c.Sensor.AmperesPerCount() / 2, Unit: unitAmperes, Distribution: budget.Rectangular, Constant: 1, Independent: independent},
		{Source: "zero", Value: c.Sensor.ZeroAmperes, Unit: unitAmperes, Constant: 1},
		{Source: "gain", Value: c.Sensor.GainRatio, Unit: unitRatio, PerAmpere: 1},
	}
	all := make([]effect, len(stated))
	for i, e := range stated {
		all[i] = effect{e, true}
	}
	return all
}

// unstated are all others.
func (c *Candidate) unstated(current, celsius, years float64) (all []effect) {
	var found []budget.Effect
	switch {
	case c.Channel.Shunt != nil:
		found = c.shuntEffects(current, celsius)
	case c.Channel.Magnetic != nil:
		found = c.magneticEffects(celsius)
	}
	for _, e := range append(found, c.sheetEffects(current, celsius, years)...) {
		all = append(all, effect{e, false})
	}
	return all
}

// sheetEffects come from limits that any kind of sensor may have.
func (c *Candidate) sheetEffects(current, celsius, years float64) []budget.Effect {
	sheet, away := c.sheet(), math.Abs(celsius-c.referenceCelsius())
	warm := math.Abs(celsius + c.riseKelvin(current) - c.referenceCelsius())
	return []budget.Effect{
		{Source: "gain drift with temperature", Value: sheet.GainDriftPerKelvin, Unit: unitPerKelvin, Distribution: budget.Rectangular, PerAmpere: warm},
		{Source: "gain drift with time", Value: sheet.YearlyGainDriftRatio, Unit: unitPerYear, Distribution: budget.Rectangular, PerAmpere: years},
		c.zeroDrift(away),
		c.hysteresis(),
		{Source: "linearity", Value: sheet.LinearityRatio, Unit: unitRatio, Distribution: budget.Rectangular, Constant: c.ratedAmperes(), Hidden: true},
	}
}

// zeroDrift is the data sheet's limit, or else the standard uncertainty that the estimator is told.
func (c *Candidate) zeroDrift(kelvin float64) budget.Effect {
	e := budget.Effect{Source: "zero drift with temperature", Value: c.sheet().ZeroDriftAmperesPerKelvin, Unit: "A/K",
		Distribution: budget.Rectangular, Constant: kelvin}
	if told, found := c.declared("zero_drift_amperes_per_kelvin"); found && e.Value == 0 {
		e.Source, e.Value, e.Distribution = "zero drift with temperature (estimator's)", told, budget.Normal
	}
	return e
}

func (c *Candidate) hysteresis() budget.Effect {
	e := budget.Effect{Source: "hysteresis", Value: c.sheet().HysteresisAmperes, Unit: unitAmperes, Distribution: budget.Rectangular, Constant: 1, Hidden: true}
	if told, found := c.declared("hysteresis_amperes"); found && e.Value == 0 {
		e.Source, e.Value, e.Distribution = "hysteresis (estimator's)", told, budget.Normal
	}
	return e
}

// shuntEffects are what nothing corrects of the resistance's temperature, and the voltage of warm joints.
func (c *Candidate) shuntEffects(current, celsius float64) []budget.Effect {
	s, sheet := c.Channel.Shunt, c.sheet()
	return []budget.Effect{
		{Source: "temperature coefficient, not corrected", Value: math.Abs(c.uncorrectedRatio(current, celsius)), Unit: unitRatio,
			Distribution: budget.Rectangular, PerAmpere: 1},
		{Source: "thermo-EMF of the joints", Value: sheet.ThermoEMFVoltsPerKelvin, Unit: "V/K", Distribution: budget.Rectangular,
			Constant: sheet.TerminalKelvin / (s.ResistanceOhms * math.Abs(c.Sensor.CalibrationA1))},
	}
}

// uncorrectedRatio is how far the resistance is from the one that the daemon takes: at the measured temperature it is right; without one it is that
// of the ambient and rise stated, or of the reference temperature.
func (c *Candidate) uncorrectedRatio(current, celsius float64) float64 {
	s := c.Channel.Shunt
	if c.Channel.Temperature != nil {
		return 0
	}
	taken, rise := *s.ReferenceCelsius, c.riseKelvin(current)
	if s.SelfHeating != nil {
		taken = *s.SelfHeating.AmbientCelsius + rise
	}
	at := func(celsius float64) float64 {
		d := celsius - *s.ReferenceCelsius
		return 1 + d*(s.TemperatureCoefficientPerKelvin+d*s.TemperatureCoefficientPerKelvin2)
	}
	return at(celsius+rise)/at(taken) - 1
}

// magneticEffects are what nothing corrects of its temperature, and the supply that its output follows. A supply that is off moves zero and gain together.
func (c *Candidate) magneticEffects(celsius float64) []budget.Effect {
	m, perVolt := c.Channel.Magnetic, c.amperesPerVolt()
	zeroAmperes := m.ZeroVolts * perVolt
	if c.Channel.Reversed {
		zeroAmperes = -zeroAmperes
	}
	away := math.Abs(celsius - *m.ReferenceCelsius)
	if c.Channel.Temperature != nil {
		away = 0
	}
	return []budget.Effect{
		{Source: "sensitivity coefficient, not corrected", Value: math.Abs(m.SensitivityCoefficientPerKelvin), Unit: unitPerKelvin,
			Distribution: budget.Rectangular, PerAmpere: away},
		{Source: "zero coefficient, not corrected", Value: math.Abs(m.ZeroCoefficientVoltsPerKelvin), Unit: "V/K",
			Distribution: budget.Rectangular, Constant: away * perVolt},
		{Source: "supply", Value: c.sheet().SupplyRatio, Unit: unitRatio, Distribution: budget.Rectangular, Constant: zeroAmperes, PerAmpere: 1},
	}
}

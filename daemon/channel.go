package daemon

import (
	"errors"
	"fmt"
	"math"

	"github.com/ampledger/ampledger/daemon/config"
	"github.com/ampledger/ampledger/daemon/pipeline"
	"github.com/ampledger/ampledger/daemon/sensor"
	"github.com/ampledger/ampledger/plugins/plugin"
)

// The units a driver may give an input, as UCUM symbols where there are some.
const (
	unitCode    = "code"
	unitVolts   = "V"
	unitAmperes = "A"
	unitPlain   = "1" // not said
)

// sensorConfig translates a channel, given what its driver describes.
func sensorConfig(ch config.Channel, inputs pipeline.Inputs) (sensor.Config, error) {
	column, input, err := inputs.Find(ch.Input)
	if err != nil {
		return sensor.Config{}, err
	}
	c := sensor.Config{
		Input: column, Temperature: sensor.None, Supply: sensor.None, VoltsPerCount: 1, CalibrationA1: 1, MaximumAmperes: math.Inf(1),
		Reversed: ch.Reversed, Averaged: input.GetAveraging(),
		NoiseAmperes: ch.NoiseAmperes, ZeroAmperes: ch.ZeroUncertaintyAmperes, GainRatio: ch.GainUncertaintyRatio,
	}
	if ch.MaximumAmperes != nil {
		c.MaximumAmperes = *ch.MaximumAmperes
	}
	if ch.Calibration != nil {
		c.CalibrationA0 = ch.Calibration.OffsetAmperes
		if ch.Calibration.Gain != nil {
			c.CalibrationA1 = *ch.Calibration.Gain
		}
	}
	converter, err := model(ch, &c)
	if err == nil && converter != nil {
		err = convert(*converter, input, &c)
	} else if err == nil {
		err = wantAmperes(input)
	}
	return c, errors.Join(err, auxiliaries(ch, inputs, &c))
}

// model sets the physics; the converter is nil if the input gives amperes itself.
func model(ch config.Channel, c *sensor.Config) (*config.Converter, error) {
	switch {
	case ch.Shunt != nil:
		s := ch.Shunt
		c.Model = &sensor.Shunt{
			ResistanceOhms: s.ResistanceOhms, Gain: s.Gain, PerKelvin: s.TemperatureCoefficientPerKelvin,
			PerKelvin2: s.TemperatureCoefficientPerKelvin2, ReferenceCelsius: *s.ReferenceCelsius,
		}
		if h := s.SelfHeating; h != nil {
			c.Heating = &sensor.Heating{KelvinPerWatt: h.KelvinPerWatt, TimeConstant: h.TimeConstantSeconds, AmbientCelsius: *h.AmbientCelsius}
		}
		return &s.Converter, nil
	case ch.Magnetic != nil:
		m := ch.Magnetic
		c.Model = &sensor.Magnetic{
			VoltsPerAmpere: m.VoltsPerAmpere, ZeroVolts: m.ZeroVolts, PrimaryTurns: float64(m.PrimaryTurns),
			PerKelvin: m.SensitivityCoefficientPerKelvin, ZeroPerKelvin: m.ZeroCoefficientVoltsPerKelvin,
			ReferenceCelsius: *m.ReferenceCelsius, NominalSupply: nominalSupply(m.Supply),
		}
		return &m.Converter, nil
	case ch.Reported != nil:
		c.Model = sensor.Reported{}
		if ch.Reported.RatedAmperes > 0 && math.IsInf(c.MaximumAmperes, 1) {
			c.MaximumAmperes = ch.Reported.RatedAmperes
		}
		return nil, nil
	}
	return nil, errors.New("is none of shunt, magnetic, reported")
}

func nominalSupply(s *config.Supply) float64 {
	if s == nil {
		return 0
	}
	return s.NominalVolts
}

// convert settles how the input's values become volts. The configuration goes before what the driver says.
func convert(converter config.Converter, input *plugin.Input, c *sensor.Config) error {
	switch unit := input.GetUnit(); {
	case unit == unitAmperes:
		return fmt.Errorf("input %q gives amperes: make the channel `reported`, or choose an input that gives counts or volts", input.GetName())
	case unit == unitVolts:
		if converter.VoltsPerCount != nil {
			return fmt.Errorf("input %q gives volts already: take volts_per_count out", input.GetName())
		}
		return nil
	case converter.VoltsPerCount != nil:
		c.VoltsPerCount = *converter.VoltsPerCount
	case input.GetVoltsPerCode() != 0:
		c.VoltsPerCount = input.GetVoltsPerCode()
	default:
		return fmt.Errorf("input %q gives counts, but neither the driver nor volts_per_count says what a count is worth", input.GetName())
	}
	c.Counts = true
	c.ZeroCountVolts = input.GetZeroCodeVolts()
	if converter.ZeroCountVolts != nil {
		c.ZeroCountVolts = *converter.ZeroCountVolts
	}
	codeRange(converter, input, c)
	return nil
}

// codeRange settles where the converter saturates.
func codeRange(converter config.Converter, input *plugin.Input, c *sensor.Config) {
	switch {
	case input.GetCodeRangeKnown():
		c.RangeKnown, c.MinimumRaw, c.MaximumRaw = true, float64(input.GetMinimumCode()), float64(input.GetMaximumCode())
	case converter.Bits > 0:
		half := math.Ldexp(1, converter.Bits-1)
		c.RangeKnown, c.MinimumRaw, c.MaximumRaw = true, -half, half-1
	}
}

func wantAmperes(input *plugin.Input) error {
	if unit := input.GetUnit(); unit != unitAmperes && unit != unitPlain {
		return fmt.Errorf("input %q gives %q, a reported channel wants amperes", input.GetName(), unit)
	}
	return nil
}

// auxiliaries finds the inputs a reading is corrected by.
func auxiliaries(ch config.Channel, inputs pipeline.Inputs, c *sensor.Config) (fault error) {
	if ch.Temperature != nil {
		column, _, err := inputs.Find(ch.Temperature.Input)
		c.Temperature, fault = column, err
	}
	if ch.Magnetic != nil && ch.Magnetic.Supply != nil {
		column, _, err := inputs.Find(ch.Magnetic.Supply.Input)
		c.Supply, fault = column, errors.Join(fault, err)
	}
	return fault
}

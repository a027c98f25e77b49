package sensor_test

import (
	"errors"
	"strings"
	"testing"

	"github.com/ampledger/ampledger/daemon/sensor"
)

func TestValidateNamesEachFault(t *testing.T) {
	shunt := func(change func(*sensor.Shunt)) func(*sensor.Config) {
		return func(c *sensor.Config) { m := milliohm(); change(m); c.Model = m }
	}
	magnetic := func(change func(*sensor.Magnetic)) func(*sensor.Config) {
		return func(c *sensor.Config) {
			m := &sensor.Magnetic{VoltsPerAmpere: 1, PrimaryTurns: 1}
			change(m)
			c.Model = m
		}
	}
	heating := func(h sensor.Heating) func(*sensor.Config) { return func(c *sensor.Config) { c.Heating = &h } }
	for _, c := range []struct {
		want   string
		change func(*sensor.Config)
	}{
		{"no kind of sensor is given", func(c *sensor.Config) { c.Model = nil }},
		{"resistance is 0: it must be above 0", shunt(func(m *sensor.Shunt) { m.ResistanceOhms = 0 })},
		{"resistance is -1: it must be above 0", shunt(func(m *sensor.Shunt) { m.ResistanceOhms = -1 })},
		{"resistance is NaN: it must be finite", shunt(func(m *sensor.Shunt) { m.ResistanceOhms = nan })},
		{"resistance is +Inf: it must be finite", shunt(func(m *sensor.Shunt) { m.ResistanceOhms = inf })},
		{"gain is 0", shunt(func(m *sensor.Shunt) { m.Gain = 0 })},
		{"gain is NaN: it must be finite", shunt(func(m *sensor.Shunt) { m.Gain = nan })},
		{"temperature coefficient is NaN: it must be finite", shunt(func(m *sensor.Shunt) { m.PerKelvin = nan })},
		{"temperature coefficient is -Inf: it must be finite", shunt(func(m *sensor.Shunt) { m.PerKelvin2 = -inf })},
		{"temperature coefficient is +Inf: it must be finite", shunt(func(m *sensor.Shunt) { m.ReferenceCelsius = inf })},
		{"volts per ampere is 0", magnetic(func(m *sensor.Magnetic) { m.VoltsPerAmpere = 0 })},
		{"primary turns is 0: it must be above 0", magnetic(func(m *sensor.Magnetic) { m.PrimaryTurns = 0 })},
		{"coefficient is NaN: it must be finite", magnetic(func(m *sensor.Magnetic) { m.ZeroVolts = nan })},
		{"coefficient is NaN: it must be finite", magnetic(func(m *sensor.Magnetic) { m.ZeroPerKelvin = nan })},
		{"nominal supply is negative", magnetic(func(m *sensor.Magnetic) { m.NominalSupply = -5 })},
		{"volts per count is 0", func(c *sensor.Config) { c.VoltsPerCount = 0 }},
		{"calibration gain is 0", func(c *sensor.Config) { c.CalibrationA1 = 0 }},
		{"calibration or uncertainty is NaN: it must be finite", func(c *sensor.Config) { c.CalibrationA0 = nan }},
		{"calibration or uncertainty is NaN: it must be finite", func(c *sensor.Config) { c.ZeroCountVolts = nan }},
		{"calibration or uncertainty is +Inf: it must be finite", func(c *sensor.Config) { c.NoiseAmperes = inf }},
		{"an uncertainty is negative", func(c *sensor.Config) { c.NoiseAmperes = -1 }},
		{"an uncertainty is negative", func(c *sensor.Config) { c.ZeroAmperes = -1 }},
		{"an uncertainty is negative", func(c *sensor.Config) { c.GainRatio = -1 }},
		{"maximum amperes must be above 0", limited(0)},
		{"maximum amperes must be above 0", limited(nan)},
		{"an input is negative", func(c *sensor.Config) { c.Input = sensor.None }},
		{"an input is negative", func(c *sensor.Config) { c.Temperature = -2 }},
		{"an input is negative", func(c *sensor.Config) { c.Supply = -2 }},
		{"raw values range from 5 to 5", func(c *sensor.Config) { c.MinimumRaw, c.MaximumRaw = 5, 5 }},
		{"raw values range from NaN to 5", func(c *sensor.Config) { c.MinimumRaw, c.MaximumRaw = nan, 5 }},
		{"self-heating is for a shunt without a wired temperature", func(c *sensor.Config) { heating(sensor.Heating{TimeConstant: 1})(c); warm(c) }},
		{"self-heating is for a shunt without a wired temperature", func(c *sensor.Config) { c.Model, c.Heating = sensor.Reported{}, &sensor.Heating{TimeConstant: 1} }},
		{"thermal time constant is 0: it must be above 0", heating(sensor.Heating{KelvinPerWatt: 1})},
		{"kelvin per watt is negative", heating(sensor.Heating{KelvinPerWatt: -1, TimeConstant: 1})},
		{"self-heating is NaN: it must be finite", heating(sensor.Heating{AmbientCelsius: nan, TimeConstant: 1})},
		{"amperes = raw value · +Inf + 0: the figures together make no sensor", func(c *sensor.Config) { c.CalibrationA1 = 5e-324 }},
		{"amperes = raw value · 0 + 0: the figures together make no sensor", shunt(func(m *sensor.Shunt) { m.ResistanceOhms, m.Gain = 1e300, 1e300 })},
	} {
		if _, err := sensor.New(channel(milliohm(), c.change)); err == nil || err.Error() != c.want {
			t.Errorf("error %v, want %s", err, c.want)
		}
	}
}

func TestValidateReportsAllFaultsAtOnce(t *testing.T) {
	_, err := sensor.New(channel(&sensor.Shunt{}, func(c *sensor.Config) {
		c.VoltsPerCount, c.CalibrationA1, c.MaximumAmperes, c.GainRatio = 0, 0, 0, -1
		c.Heating = &sensor.Heating{KelvinPerWatt: -1}
	}))
	if joined := err.(interface{ Unwrap() []error }); len(joined.Unwrap()) != 6 {
		t.Errorf("%d groups of faults, want 6: %v", len(joined.Unwrap()), err)
	}
	if lines := strings.Count(errors.Join(err).Error(), "\n") + 1; lines != 8 {
		t.Errorf("%d faults, want 8: %v", lines, err)
	}
}

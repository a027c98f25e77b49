package simulate

import (
	"math"

	"github.com/ampledger/ampledger/plugins/driver/simulate/physics"
)

type shuntSettings struct {
	ResistanceOhms                  float64             `json:"resistance_ohms"`
	Gain                            *float64            `json:"gain"`
	TemperatureCoefficientPerKelvin float64             `json:"temperature_coefficient_per_kelvin"`
	ReferenceCelsius                *float64            `json:"reference_celsius"`
	Bits                            int                 `json:"bits"`
	Signed                          *bool               `json:"signed"`
	VoltsPerCode                    float64             `json:"volts_per_code"`
	ZeroCodeVolts                   float64             `json:"zero_code_volts"`
	NoiseAmperes                    float64             `json:"noise_amperes"`
	OffsetAmperes                   float64             `json:"offset_amperes"`
	WalkAmperesPerRootHour          float64             `json:"walk_amperes_per_root_hour"`
	GainErrorRatio                  float64             `json:"gain_error_ratio"`
	GainDriftPerYear                float64             `json:"gain_drift_per_year"`
	ThermalEMF                      emfSettings         `json:"thermal_emf"`
	Body                            shuntBodySettings   `json:"body"`
	Thermometer                     thermometerSettings `json:"thermometer"`
}

type magneticSettings struct {
	VoltsPerAmpere                float64              `json:"volts_per_ampere"`
	ZeroVolts                     float64              `json:"zero_volts"`
	MinimumVolts                  *float64             `json:"minimum_volts"`
	MaximumVolts                  *float64             `json:"maximum_volts"`
	OffsetAmperesPerKelvin        float64              `json:"offset_amperes_per_kelvin"`
	OffsetAmperesPerSquaredKelvin float64              `json:"offset_amperes_per_squared_kelvin"`
	ReferenceCelsius              *float64             `json:"reference_celsius"`
	Bits                          int                  `json:"bits"`
	Signed                        *bool                `json:"signed"`
	VoltsPerCode                  float64              `json:"volts_per_code"`
	ZeroCodeVolts                 float64              `json:"zero_code_volts"`
	NoiseAmperes                  float64              `json:"noise_amperes"`
	OffsetAmperes                 float64              `json:"offset_amperes"`
	WalkAmperesPerRootHour        float64              `json:"walk_amperes_per_root_hour"`
	GainErrorRatio                float64              `json:"gain_error_ratio"`
	GainDriftPerYear              float64              `json:"gain_drift_per_year"`
	Body                          magneticBodySettings `json:"body"`
	Thermometer                   thermometerSettings  `json:"thermometer"`
	Hysteresis                    *hysteresisSettings  `json:"hysteresis"`
	Supply                        *supplySettings      `json:"supply"`
}

func (s *shuntSettings) check(r *refusals) *physics.Shunt {
	if s == nil {
		return nil
	}
	if s.ResistanceOhms <= 0 {
		r.add("shunt.resistance_ohms", "%v is not above zero", s.ResistanceOhms)
	}
	if or(s.Gain, 1) == 0 {
		r.add("shunt.gain", "0 makes every code the same, leave it out or give another")
	}
	return &physics.Shunt{
		Converter:            converterOf("shunt", s.Bits, or(s.Signed, true), s.VoltsPerCode, s.ZeroCodeVolts, r),
		Errors:               errorsOf("shunt", physics.Errors{NoiseAmperes: s.NoiseAmperes, OffsetAmperes: s.OffsetAmperes, WalkAmperesPerRootHour: s.WalkAmperesPerRootHour, GainErrorRatio: s.GainErrorRatio, GainDriftPerYear: s.GainDriftPerYear}, r),
		Ohms:                 s.ResistanceOhms,
		Gain:                 or(s.Gain, 1),
		CoefficientPerKelvin: s.TemperatureCoefficientPerKelvin,
		ReferenceCelsius:     or(s.ReferenceCelsius, 20),
		ThermalEMF:           s.ThermalEMF.check(r),
		Body:                 s.Body.check(s.ResistanceOhms, r),
		Thermometer:          s.Thermometer.check("shunt.thermometer", r),
	}
}

func (s *magneticSettings) check(r *refusals) *physics.Magnetic {
	if s == nil {
		return nil
	}
	if s.VoltsPerAmpere == 0 {
		r.add("magnetic.volts_per_ampere", "missing or 0, which makes every code the same; give the sensitivity")
	}
	m := &physics.Magnetic{
		Converter:                     converterOf("magnetic", s.Bits, or(s.Signed, true), s.VoltsPerCode, s.ZeroCodeVolts, r),
		Errors:                        errorsOf("magnetic", physics.Errors{NoiseAmperes: s.NoiseAmperes, OffsetAmperes: s.OffsetAmperes, WalkAmperesPerRootHour: s.WalkAmperesPerRootHour, GainErrorRatio: s.GainErrorRatio, GainDriftPerYear: s.GainDriftPerYear}, r),
		VoltsPerAmpere:                s.VoltsPerAmpere,
		ZeroVolts:                     s.ZeroVolts,
		MinimumVolts:                  or(s.MinimumVolts, math.Inf(-1)),
		MaximumVolts:                  or(s.MaximumVolts, math.Inf(1)),
		OffsetAmperesPerKelvin:        s.OffsetAmperesPerKelvin,
		OffsetAmperesPerSquaredKelvin: s.OffsetAmperesPerSquaredKelvin,
		ReferenceCelsius:              or(s.ReferenceCelsius, 25),
		Body:                          s.Body.check(r),
		Thermometer:                   s.Thermometer.check("magnetic.thermometer", r),
		Hysteresis:                    s.Hysteresis.check(r),
		Supply:                        s.Supply.check(r),
	}
	if m.MinimumVolts >= m.MaximumVolts {
		r.add("magnetic.minimum_volts", "%v is not below maximum_volts, %v", m.MinimumVolts, m.MaximumVolts)
	}
	return m
}

func converterOf(sensor string, bits int, signed bool, voltsPerCode, zeroCodeVolts float64, r *refusals) physics.Converter {
	most := 31
	if signed {
		most = 32
	}
	if bits < 2 || bits > most {
		r.add(sensor+".bits", "%d is not within 2 to %d", bits, most)
	}
	if voltsPerCode <= 0 {
		r.add(sensor+".volts_per_code", "%v is not above zero", voltsPerCode)
	}
	c := physics.Converter{MostCode: math.Ldexp(1, bits) - 1, VoltsPerCode: voltsPerCode, ZeroCodeVolts: zeroCodeVolts}
	if signed {
		c.LeastCode, c.MostCode = -math.Ldexp(1, bits-1), math.Ldexp(1, bits-1)-1
	}
	return c
}

func errorsOf(sensor string, e physics.Errors, r *refusals) physics.Errors {
	if e.NoiseAmperes < 0 {
		r.add(sensor+".noise_amperes", "%v is below zero, it is a standard deviation", e.NoiseAmperes)
	}
	r.notNegative(sensor+".walk_amperes_per_root_hour", e.WalkAmperesPerRootHour)
	if e.GainErrorRatio <= -1 {
		r.add(sensor+".gain_error_ratio", "%v leaves no gain, it is a ratio such as 0.01 for 1 %%", e.GainErrorRatio)
	}
	return e
}

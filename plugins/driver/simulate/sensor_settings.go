package simulate

import "math"

type shuntSettings struct {
	ResistanceOhms                  float64  `json:"resistance_ohms"`
	Gain                            *float64 `json:"gain"`
	TemperatureCoefficientPerKelvin float64  `json:"temperature_coefficient_per_kelvin"`
	ReferenceCelsius                *float64 `json:"reference_celsius"`
	Bits                            int      `json:"bits"`
	Signed                          *bool    `json:"signed"`
	VoltsPerCode                    float64  `json:"volts_per_code"`
	ZeroCodeVolts                   float64  `json:"zero_code_volts"`
	NoiseAmperes                    float64  `json:"noise_amperes"`
	OffsetAmperes                   float64  `json:"offset_amperes"`
	GainErrorRatio                  float64  `json:"gain_error_ratio"`
}

type magneticSettings struct {
	VoltsPerAmpere         float64  `json:"volts_per_ampere"`
	ZeroVolts              float64  `json:"zero_volts"`
	MinimumVolts           *float64 `json:"minimum_volts"`
	MaximumVolts           *float64 `json:"maximum_volts"`
	OffsetAmperesPerKelvin float64  `json:"offset_amperes_per_kelvin"`
	ReferenceCelsius       *float64 `json:"reference_celsius"`
	Bits                   int      `json:"bits"`
	Signed                 *bool    `json:"signed"`
	VoltsPerCode           float64  `json:"volts_per_code"`
	ZeroCodeVolts          float64  `json:"zero_code_volts"`
	NoiseAmperes           float64  `json:"noise_amperes"`
	OffsetAmperes          float64  `json:"offset_amperes"`
	GainErrorRatio         float64  `json:"gain_error_ratio"`
}

func (s *shuntSettings) check(r *refusals) *shunt {
	if s == nil {
		return nil
	}
	if s.ResistanceOhms <= 0 {
		r.add("shunt.resistance_ohms", "%v is not above zero", s.ResistanceOhms)
	}
	if or(s.Gain, 1) == 0 {
		r.add("shunt.gain", "0 makes every code the same, leave it out or give another")
	}
	return &shunt{
		converter:    converterOf("shunt", s.Bits, or(s.Signed, true), s.VoltsPerCode, s.ZeroCodeVolts, r),
		imperfection: imperfectionOf("shunt", s.NoiseAmperes, s.OffsetAmperes, s.GainErrorRatio, r),
		ohms:         s.ResistanceOhms,
		gain:         or(s.Gain, 1),
		coefficient:  s.TemperatureCoefficientPerKelvin,
		reference:    or(s.ReferenceCelsius, 20),
	}
}

func (s *magneticSettings) check(r *refusals) *magnetic {
	if s == nil {
		return nil
	}
	if s.VoltsPerAmpere == 0 {
		r.add("magnetic.volts_per_ampere", "missing or 0, which makes every code the same; give the sensitivity")
	}
	m := &magnetic{
		converter:      converterOf("magnetic", s.Bits, or(s.Signed, true), s.VoltsPerCode, s.ZeroCodeVolts, r),
		imperfection:   imperfectionOf("magnetic", s.NoiseAmperes, s.OffsetAmperes, s.GainErrorRatio, r),
		voltsPerAmpere: s.VoltsPerAmpere,
		zeroVolts:      s.ZeroVolts,
		minimumVolts:   or(s.MinimumVolts, math.Inf(-1)),
		maximumVolts:   or(s.MaximumVolts, math.Inf(1)),
		drift:          s.OffsetAmperesPerKelvin,
		reference:      or(s.ReferenceCelsius, 25),
	}
	if m.minimumVolts >= m.maximumVolts {
		r.add("magnetic.minimum_volts", "%v is not below maximum_volts, %v", m.minimumVolts, m.maximumVolts)
	}
	return m
}

func converterOf(sensor string, bits int, signed bool, voltsPerCode, zeroCodeVolts float64, r *refusals) converter {
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
	c := converter{most: math.Ldexp(1, bits) - 1, voltsPerCode: voltsPerCode, zeroCodeVolts: zeroCodeVolts}
	if signed {
		c.least, c.most = -math.Ldexp(1, bits-1), math.Ldexp(1, bits-1)-1
	}
	return c
}

func imperfectionOf(sensor string, noise, offset, gainError float64, r *refusals) imperfection {
	if noise < 0 {
		r.add(sensor+".noise_amperes", "%v is below zero, it is a standard deviation", noise)
	}
	if gainError <= -1 {
		r.add(sensor+".gain_error_ratio", "%v leaves no gain, it is a ratio such as 0.01 for 1 %%", gainError)
	}
	return imperfection{noise: noise, offset: offset, gainError: gainError}
}

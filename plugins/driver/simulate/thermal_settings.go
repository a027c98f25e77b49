package simulate

import "github.com/ampledger/ampledger/plugins/driver/simulate/physics"

type emfSettings struct {
	VoltsPerKelvin float64 `json:"volts_per_kelvin"`
	KelvinPerWatt  float64 `json:"kelvin_per_watt"`
	LagSeconds     float64 `json:"lag_seconds"`
}

type shuntBodySettings struct {
	KelvinPerWatt float64 `json:"kelvin_per_watt"`
	LagSeconds    float64 `json:"lag_seconds"`
}

type magneticBodySettings struct {
	KelvinPerSquareAmpere float64 `json:"kelvin_per_square_ampere"`
	LagSeconds            float64 `json:"lag_seconds"`
}

type thermometerSettings struct {
	LagSeconds    float64 `json:"lag_seconds"`
	NoiseKelvin   float64 `json:"noise_kelvin"`
	QuantumKelvin float64 `json:"quantum_kelvin"`
	OffsetKelvin  float64 `json:"offset_kelvin"`
}

type supplySettings struct {
	NominalVolts *float64 `json:"nominal_volts"`
	OffsetVolts  float64  `json:"offset_volts"`
	DriftVolts   float64  `json:"drift_volts"`
	DriftSeconds *float64 `json:"drift_seconds"`
	RippleVolts  float64  `json:"ripple_volts"`
	NoiseVolts   float64  `json:"noise_volts"`
}

func (s emfSettings) check(r *refusals) physics.ThermalEMF {
	r.notNegative("shunt.thermal_emf.kelvin_per_watt", s.KelvinPerWatt)
	r.notNegative("shunt.thermal_emf.lag_seconds", s.LagSeconds)
	return physics.ThermalEMF(s)
}

func (s shuntBodySettings) check(ohms float64, r *refusals) physics.Body {
	r.notNegative("shunt.body.kelvin_per_watt", s.KelvinPerWatt)
	r.notNegative("shunt.body.lag_seconds", s.LagSeconds)
	return physics.Body{LagSeconds: s.LagSeconds, KelvinPerSquareAmpere: s.KelvinPerWatt * ohms}
}

func (s magneticBodySettings) check(r *refusals) physics.Body {
	r.notNegative("magnetic.body.kelvin_per_square_ampere", s.KelvinPerSquareAmpere)
	r.notNegative("magnetic.body.lag_seconds", s.LagSeconds)
	return physics.Body{LagSeconds: s.LagSeconds, KelvinPerSquareAmpere: s.KelvinPerSquareAmpere}
}

func (s thermometerSettings) check(key string, r *refusals) physics.Thermometer {
	r.notNegative(key+".lag_seconds", s.LagSeconds)
	r.notNegative(key+".noise_kelvin", s.NoiseKelvin)
	r.notNegative(key+".quantum_kelvin", s.QuantumKelvin)
	return physics.Thermometer(s)
}

func (s *supplySettings) check(r *refusals) *physics.Supply {
	if s == nil {
		return nil
	}
	all := &physics.Supply{
		NominalVolts: or(s.NominalVolts, 5), OffsetVolts: s.OffsetVolts, DriftVolts: s.DriftVolts,
		DriftSeconds: or(s.DriftSeconds, 3600), RippleVolts: s.RippleVolts, NoiseVolts: s.NoiseVolts,
	}
	r.positive("magnetic.supply.nominal_volts", all.NominalVolts)
	r.notNegative("magnetic.supply.drift_volts", s.DriftVolts)
	r.positive("magnetic.supply.drift_seconds", all.DriftSeconds)
	r.notNegative("magnetic.supply.ripple_volts", s.RippleVolts)
	r.notNegative("magnetic.supply.noise_volts", s.NoiseVolts)
	return all
}

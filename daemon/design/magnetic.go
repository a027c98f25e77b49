package design

import "math"

// Magnetic is what moves the zero and gain of a magnetic sensor. A nil figure is not known.
type Magnetic struct {
	ZeroUncertaintyAmperes          *float64 `json:"zero_uncertainty_amperes"`
	ZeroAmpereHoursPerDay           *float64 `json:"zero_ampere_hours_per_day"`           // what that zero is to the charge of a day, standard uncertainty
	ZeroDriftAmperesPerKelvin       *float64 `json:"zero_drift_amperes_per_kelvin"`       // limit of the data sheet, or the estimator's standard uncertainty
	ZeroCoefficientAmperesPerKelvin *float64 `json:"zero_coefficient_amperes_per_kelvin"` // what zero_coefficient_volts_per_kelvin is worth
	ZeroCoefficientCorrected        bool     `json:"zero_coefficient_corrected"`          // a temperature is wired, so it is corrected
	HysteresisAmperes               *float64 `json:"hysteresis_amperes"`
	GainUncertaintyRatio            *float64 `json:"gain_uncertainty_ratio"`
	// SupplyAmperesPerPercent is what a supply 1 % off does to the zero if the output follows the supply; at a current comes 1 % of it.
	SupplyAmperesPerPercent float64 `json:"supply_amperes_per_percent"`
	SupplyMeasured          bool    `json:"supply_measured"` // it is corrected by the measured supply
}

func (c *Candidate) magnetic() *Magnetic {
	m := c.Channel.Magnetic
	if m == nil {
		return nil
	}
	positive := func(v float64) *float64 {
		if v > 0 {
			return &v
		}
		return nil
	}
	return &Magnetic{
		ZeroUncertaintyAmperes: positive(c.Channel.ZeroUncertaintyAmperes), ZeroAmpereHoursPerDay: positive(24 * c.Channel.ZeroUncertaintyAmperes),
		ZeroDriftAmperesPerKelvin: positive(c.zeroDrift(1).Value), HysteresisAmperes: positive(c.hysteresis().Value),
		ZeroCoefficientAmperesPerKelvin: positive(math.Abs(m.ZeroCoefficientVoltsPerKelvin) * c.amperesPerVolt()), ZeroCoefficientCorrected: c.Channel.Temperature != nil,
		GainUncertaintyRatio: positive(c.Channel.GainUncertaintyRatio), SupplyAmperesPerPercent: 0.01 * math.Abs(m.ZeroVolts) * c.amperesPerVolt(), SupplyMeasured: m.Supply != nil,
	}
}

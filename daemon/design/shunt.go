package design

import (
	"github.com/ampledger/ampledger/daemon/metrology/shunt"
)

// Shunt is what a shunt costs and what can go wrong with it. A nil figure is not known.
type Shunt struct {
	ResistanceOhms       float64  `json:"resistance_ohms"`
	RatedAmperes         *float64 `json:"rated_amperes"`
	RatedDropMillivolts  *float64 `json:"rated_drop_millivolts"`
	RatedWatts           *float64 `json:"rated_watts"`
	RatedWattHoursPerDay *float64 `json:"rated_watt_hours_per_day"`
	RatedRiseKelvin      *float64 `json:"rated_rise_kelvin"` // steady, above ambient
	SettleSeconds        *float64 `json:"settle_seconds"`    // until 1 % of the rise is still to come
	// TerminalRatioPerMicroohm is how much too high every reading is for each microohm of terminal and joint that is sensed as well, if the leads are
	// on the power terminals.
	TerminalRatioPerMicroohm float64  `json:"terminal_ratio_per_microohm"`
	TerminalRatio            *float64 `json:"terminal_ratio"`            // for the resistance that data_sheet states
	ThermoAmperesPerKelvin   *float64 `json:"thermo_amperes_per_kelvin"` // for the thermo-EMF that data_sheet states, for each kelvin between the ends
	// The same at the limit of a good shunt (PTB E 23: 10 µV/K), and for constantan against copper about the first temperature asked for (thermocouple type T).
	ThermoLimitAmperesPerKelvin      float64  `json:"thermo_limit_amperes_per_kelvin"`
	ThermoConstantanAmperesPerKelvin *float64 `json:"thermo_constantan_amperes_per_kelvin"`
}

const settledShare = 0.01

func (c *Candidate) shunt(q Question) *Shunt {
	s := c.Channel.Shunt
	if s == nil {
		return nil
	}
	ohms, sheet := s.ResistanceOhms, c.sheet()
	out := &Shunt{
		ResistanceOhms: ohms, TerminalRatioPerMicroohm: shunt.TerminalRatio(1e-6, ohms),
		ThermoLimitAmperesPerKelvin: shunt.ThermoAmperes(shunt.MostThermoElectricVoltsKelvin, 1, ohms),
	}
	if s.RatedAmperes > 0 {
		watts := shunt.Watts(s.RatedAmperes, ohms)
		out.RatedAmperes, out.RatedWatts, out.RatedDropMillivolts, out.RatedWattHoursPerDay = &s.RatedAmperes, &watts, finite(1000*s.RatedAmperes*ohms), finite(24*watts)
	}
	if s.SelfHeating != nil {
		out.SettleSeconds = finite(shunt.SettleSeconds(s.SelfHeating.TimeConstantSeconds, settledShare))
		if s.RatedAmperes > 0 {
			out.RatedRiseKelvin = finite(c.riseKelvin(s.RatedAmperes))
		}
	}
	if sheet.TerminalOhms > 0 {
		out.TerminalRatio = finite(shunt.TerminalRatio(sheet.TerminalOhms, ohms))
	}
	if sheet.ThermoEMFVoltsPerKelvin > 0 {
		out.ThermoAmperesPerKelvin = finite(shunt.ThermoAmperes(sheet.ThermoEMFVoltsPerKelvin, 1, ohms))
	}
	if volts, err := shunt.ConstantanVoltsPerKelvin(q.Celsius[0]); err == nil {
		out.ThermoConstantanAmperesPerKelvin = finite(shunt.ThermoAmperes(volts, 1, ohms))
	}
	return out
}

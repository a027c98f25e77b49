package query

import (
	"fmt"

	"github.com/ampledger/ampledger/cmd/internal/show"
	"github.com/ampledger/ampledger/daemon/design"
)

// fact is a line about a channel.
type fact struct{ name, text string }

// facts are what stands above a channel's budgets.
func facts(ch design.Channel) (all []fact) {
	all = append(all, fact{"range", rangeText(ch.Range)})
	if ch.Shunt != nil {
		all = append(all, shuntFacts(ch.Shunt)...)
	}
	if ch.Magnetic != nil {
		all = append(all, magneticFacts(ch.Magnetic)...)
	}
	all = append(all, fact{"isolation", ch.Isolation.Text})
	for _, note := range ch.Notes {
		all = append(all, fact{"note", note})
	}
	return all
}

func rangeText(r design.Range) string {
	text := "no limit is known"
	if r.LowAmperes != nil && r.HighAmperes != nil {
		text = fmt.Sprintf("%.4g A to %.4g A; beyond that it saturates or is refused", *r.LowAmperes, *r.HighAmperes)
	}
	if r.AmperesPerCount == nil {
		return text + "; what a count is worth is not known"
	}
	text += fmt.Sprintf("; a count is %.3g A", *r.AmperesPerCount)
	if r.CountsOfRated != nil {
		text += fmt.Sprintf(", %.5g of them at %.4g A", *r.CountsOfRated, *r.RatedAmperes)
	}
	if *r.LostAmperes > 0 {
		return text + "; a change of less may be lost, since the noise does not carry it over the step"
	}
	return text + "; less is seen in the mean of many readings, since the noise is larger"
}

func shuntFacts(s *design.Shunt) (all []fact) {
	text := fmt.Sprintf("%.4g µΩ", s.ResistanceOhms*1e6)
	if s.RatedAmperes != nil {
		text += fmt.Sprintf("; at its rated %.4g A %.4g mV and %.3g W, %.3g kWh in a day", *s.RatedAmperes, *s.RatedDropMillivolts, *s.RatedWatts, *s.RatedWattHoursPerDay/1000)
	}
	all = append(all, fact{"shunt", text})
	if s.SettleSeconds != nil {
		text := "1 % of its own rise is still to come after " + show.Duration(int64(*s.SettleSeconds*1e9))
		if s.RatedRiseKelvin != nil {
			text = fmt.Sprintf("%.3g K above ambient at its rated current, steady; %s", *s.RatedRiseKelvin, text)
		}
		all = append(all, fact{"self-heating", text})
	} else {
		all = append(all, fact{"self-heating", "not stated (self_heating): how warm it gets and how long it takes to settle is not known"})
	}
	text = fmt.Sprintf("on the power terminals every current would read %s too high for each µΩ of terminal and joint", percent(s.TerminalRatioPerMicroohm))
	if s.TerminalRatio != nil {
		text += fmt.Sprintf("; for those stated, %s", percent(*s.TerminalRatio))
	}
	return append(all, fact{"sense leads", text}, fact{"thermo-EMF", thermoText(s)})
}

func thermoText(s *design.Shunt) string {
	text := "not stated"
	if s.ThermoAmperesPerKelvin != nil {
		text = fmt.Sprintf("%.3g A for each K between the ends", *s.ThermoAmperesPerKelvin)
	}
	text += fmt.Sprintf("; a good shunt stays below %.3g A/K (10 µV/K, PTB E 23)", s.ThermoLimitAmperesPerKelvin)
	if s.ThermoConstantanAmperesPerKelvin != nil {
		text += fmt.Sprintf(", constantan against copper gives %.3g A/K", *s.ThermoConstantanAmperesPerKelvin)
	}
	return text
}

func magneticFacts(m *design.Magnetic) []fact {
	zero := "±" + measure(m.ZeroUncertaintyAmperes, "A")
	if m.ZeroAmpereHoursPerDay != nil {
		zero += fmt.Sprintf(" standard uncertainty, %.3g Ah in a day", *m.ZeroAmpereHoursPerDay)
	}
	drift := measure(m.ZeroDriftAmperesPerKelvin, "A/K")
	if m.ZeroCoefficientAmperesPerKelvin != nil {
		corrected := "not corrected: no temperature is wired"
		if m.ZeroCoefficientCorrected {
			corrected = "corrected"
		}
		drift += fmt.Sprintf("; zero_coefficient_volts_per_kelvin is %.3g A/K, %s", *m.ZeroCoefficientAmperesPerKelvin, corrected)
	}
	supply := fmt.Sprintf("not measured; if the output follows it, each %% off moves the zero by %.3g A, and each reading by 1 %%", m.SupplyAmperesPerPercent)
	if m.SupplyMeasured {
		supply = fmt.Sprintf("measured and corrected; each %% that the measurement is off moves the zero by %.3g A, and each reading by 1 %%", m.SupplyAmperesPerPercent)
	}
	gain := "not stated"
	if m.GainUncertaintyRatio != nil {
		gain = percent(*m.GainUncertaintyRatio) + " standard uncertainty"
	}
	return []fact{{"zero", zero}, {"zero drift", drift}, {"hysteresis", measure(m.HysteresisAmperes, "A")}, {"gain", gain}, {"supply", supply}}
}

package shunt

import "math"

// Outer limits of a good shunt: Physikalisch-Technische Bundesanstalt, Technische Richtlinien E 23 (12/84), clause 1, for DC precision
// current-measuring resistors.
const (
	MostCoefficientPerKelvin      = 2.5e-5 // of the resistance, either sign
	MostThermoElectricVoltsKelvin = 1e-5   // against copper, V/K, either sign
	MostDriftPerYear              = 5e-5   // of the resistance, relative
)

// Watts is the power that a current leaves in a resistance.
func Watts(amperes, ohms float64) float64 { return amperes * amperes * ohms }

// SettleSeconds is how long a first-order rise with a time constant takes until only a share of it is still to come, such as 0.01.
func SettleSeconds(timeConstantSeconds, share float64) float64 {
	return timeConstantSeconds * math.Log(1/share)
}

// TerminalRatio is how much too high a current is read if the sense leads are not on the sense terminals and so many ohms of terminal and joint are
// sensed as well.
func TerminalRatio(addedOhms, ohms float64) float64 { return addedOhms / ohms }

// ThermoAmperes is the current that a shunt seems to carry when one of its ends is so much warmer than the other.
func ThermoAmperes(voltsPerKelvin, kelvin, ohms float64) float64 {
	return voltsPerKelvin * kelvin / ohms
}

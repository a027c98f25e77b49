package shunt

import "fmt"

// Limits of the reference function of copper against constantan that is used here.
const (
	LeastCelsius    = 0.0
	GreatestCelsius = 400.0
)

// typeT are the coefficients of the reference function of thermocouple type T, copper against constantan, 0 °C to 400 °C, in mV: NIST ITS-90
// Thermocouple Database (SRD 60, NIST Monograph 175, 1993), the same as in IEC 60584-1:2013.
var typeT = [...]float64{0, 0.387481063640e-1, 0.332922278800e-4, 0.206182434040e-6, -0.218822568460e-8,
	0.109968809280e-10, -0.308157587720e-13, 0.454791352900e-16, -0.275129016730e-19}

// ConstantanVolts is the voltage between copper and constantan at a temperature, against a joint at 0 °C. The error tells a temperature outside of
// LeastCelsius and GreatestCelsius.
func ConstantanVolts(celsius float64) (volts float64, err error) {
	return evaluate(celsius, func(i int) float64 { return typeT[i] })
}

// ConstantanVoltsPerKelvin is how fast that voltage rises with the temperature: what a constantan shunt between copper gives for each kelvin that one
// of its ends is warmer than the other.
func ConstantanVoltsPerKelvin(celsius float64) (voltsPerKelvin float64, err error) {
	return evaluate(celsius, func(i int) float64 {
		if i+1 == len(typeT) {
			return 0
		}
		return float64(i+1) * typeT[i+1]
	})
}

func evaluate(celsius float64, coefficient func(i int) float64) (volts float64, err error) {
	if !(celsius >= LeastCelsius && celsius <= GreatestCelsius) {
		return 0, fmt.Errorf("%g °C is outside of %g °C to %g °C, where the reference function of copper and constantan is used", celsius, LeastCelsius, GreatestCelsius)
	}
	for i := len(typeT) - 1; i >= 0; i-- {
		volts = volts*celsius + coefficient(i)
	}
	return volts / 1000, nil
}

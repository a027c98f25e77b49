package shunt_test

import (
	"math"
	"testing"

	"github.com/ampledger/ampledger/daemon/metrology/shunt"
)

// NIST ITS-90 Thermocouple Database, type T: the three-decimal table has 0.790 mV at 20 °C, 2.036 at 50 and 4.279 at 100; the digits beyond are
// derived from its coefficients.
func TestCopperConstantan(t *testing.T) {
	for celsius, millivolts := range map[float64]float64{
		0: 0, 10: 0.390996, 20: 0.789612, 25: 0.991977, 30: 1.196446, 40: 1.611793, 50: 2.035722, 60: 2.468150, 80: 3.357719, 100: 4.278519,
	} {
		if volts, err := shunt.ConstantanVolts(celsius); err != nil || math.Abs(volts*1000-millivolts) > 0.6e-6 {
			t.Errorf("%g °C: %.7f mV, published %.6f; %v", celsius, volts*1000, millivolts, err)
		}
	}
	for celsius, microvolts := range map[float64]float64{0: 38.748, 20: 40.265, 25: 40.682, 50: 42.820} {
		if volts, err := shunt.ConstantanVoltsPerKelvin(celsius); err != nil || math.Abs(volts*1e6-microvolts) > 0.6e-3 {
			t.Errorf("%g °C: %.4f µV/K, published %.3f; %v", celsius, volts*1e6, microvolts, err)
		}
	}
	for _, outside := range []float64{-0.1, 400.1, math.NaN()} {
		if _, err := shunt.ConstantanVolts(outside); err == nil {
			t.Errorf("a voltage at %g °C", outside)
		}
	}
}

// Worked cases: rated drops of the trade (50 mV at 100 A and 500 A, 60 mV at 1000 A), PTB E 23's limit of 10 µV/K over 10 K, manganin's 1 µV/K,
// constantan about 20 °C, and half a millimetre of copper joint.
func TestWorkedCases(t *testing.T) {
	constantan, err := shunt.ConstantanVoltsPerKelvin(20)
	if err != nil {
		t.Fatal(err)
	}
	for name, c := range map[string]struct{ got, want, within float64 }{
		"5 W":                      {shunt.Watts(100, 0.5e-3), 5, 1e-9},
		"25 W":                     {shunt.Watts(-500, 0.1e-3), 25, 1e-9},
		"60 W":                     {shunt.Watts(1000, 60e-6), 60, 1e-9},
		"PTB E 23":                 {shunt.ThermoAmperes(shunt.MostThermoElectricVoltsKelvin, 10, 0.5e-3), 0.2, 1e-9},
		"manganin":                 {shunt.ThermoAmperes(1e-6, 10, 0.5e-3), 0.02, 1e-9},
		"constantan":               {shunt.ThermoAmperes(constantan, 10, 0.5e-3), 0.81, 0.006},
		"PTB E 23, 40 K":           {shunt.MostCoefficientPerKelvin * 40, 0.001, 1e-12},
		"1 µΩ at 100 µΩ":           {shunt.TerminalRatio(1e-6, 100e-6), 0.01, 1e-12},
		"99 % after 4.6 times":     {shunt.SettleSeconds(300, 0.01), 1381.55, 0.01},
		"PTB E 23 drift, 10 years": {shunt.MostDriftPerYear * 10, 5e-4, 1e-12},
	} {
		if math.Abs(c.got-c.want) > c.within {
			t.Errorf("%s: %g, want %g", name, c.got, c.want)
		}
	}
}

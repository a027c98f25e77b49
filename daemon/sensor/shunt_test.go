package sensor_test

import (
	"fmt"
	"math"
	"testing"

	"github.com/ampledger/ampledger/daemon/sensor"
)

// ratedMillivolts are the usual drops of a shunt at its rated current. 60 mV: DIN 43703; 60 and 75 mV: GOST 8042-93; 50 mV: MIL-S-61; 50 and 100 mV:
// North American practice; 150 mV: long leads.
var ratedMillivolts = [...]float64{50, 60, 75, 100, 150}

// ratedMilliohms are the resistances at these drops, by rated amperes.
var ratedMilliohms = map[float64][len(ratedMillivolts)]float64{
	10:   {5, 6, 7.5, 10, 15},
	50:   {1, 1.2, 1.5, 2, 3},
	100:  {0.5, 0.6, 0.75, 1, 1.5},
	200:  {0.25, 0.3, 0.375, 0.5, 0.75},
	500:  {0.1, 0.12, 0.15, 0.2, 0.3},
	1000: {0.05, 0.06, 0.075, 0.1, 0.15},
}

// At a gain of 10 and 62.5 µV a count, each of the drops is a whole number of counts: 160 a millivolt.
func TestRatedDropReadsRatedCurrent(t *testing.T) {
	for rated, milliohms := range ratedMilliohms {
		for i, millivolts := range ratedMillivolts {
			t.Run(fmt.Sprintf("%v A %v mV", rated, millivolts), func(t *testing.T) {
				c := channel(&sensor.Shunt{ResistanceOhms: milliohms[i] / 1000, Gain: 10})
				code := 160 * millivolts
				near(t, "rated drop", one(t, c, code), rated, 4e-16)
				near(t, "the other way", one(t, c, -code), -rated, 4e-16)
				near(t, "a count", one(t, c, code+1)-one(t, c, code), rated/code, 1e-11)
				near(t, "a count, as told", must(t, c).AmperesPerCount(), rated/code, 4e-16)
			})
		}
	}
}

func TestTemperatureCoefficientsOfAShunt(t *testing.T) {
	for _, c := range []struct {
		name            string
		alpha, beta     float64
		celsius, factor float64 // factor is R(T)/R(20 °C), by hand
	}{
		{"at the reference", 4e-3, -1e-6, 20, 1},
		{"α alone", 4e-3, 0, 45, 1.1},
		{"β alone", 0, 2e-6, 120, 1.02},
		{"both, above", 4e-3, -1e-6, 70, 1.1975},
		{"both, below", 4e-3, -1e-6, -30, 0.7975},
		{"a precision resistor at its limit, PTB E 23 (12/84) clause 1: 40 K are 0.1 %", 2.5e-5, 0, 60, 1.001},
		{"copper, IEC 60028 (1925): 10 K are 3.93 %", 3.93e-3, 0, 30, 1.0393},
	} {
		t.Run(c.name, func(t *testing.T) {
			corrected := milliohm()
			corrected.PerKelvin, corrected.PerKelvin2 = c.alpha, c.beta
			output := 100 * 1e-3 * 10 * c.factor // volts that 100 A give
			near(t, "corrected", one(t, channel(corrected, warm, volts), output, c.celsius), 100, 1e-15)
			near(t, "uncorrected", one(t, channel(milliohm(), warm, volts), output, c.celsius), 100*c.factor, 1e-15)
			near(t, "no temperature wired", one(t, channel(corrected, volts), output), 100*c.factor, 1e-15)
		})
	}
}

// A platinum thermometer obeys the same polynomial from 0 °C on: 1 A through it must read as 1 A at the published resistances.
// IEC 60751:2008, table for 100 Ω, two decimals.
func TestPlatinumResistanceTable(t *testing.T) {
	platinum := &sensor.Shunt{ResistanceOhms: 100, Gain: 1, PerKelvin: 3.9083e-3, PerKelvin2: -5.775e-7}
	table := map[float64]float64{
		0: 100, 20: 107.79, 50: 119.40, 80: 130.90, 100: 138.51, 150: 157.33, 200: 175.86, 400: 247.09, 500: 280.98, 600: 313.71,
	}
	for celsius, ohms := range table {
		near(t, fmt.Sprint(celsius, " °C"), one(t, channel(platinum, warm, volts), ohms, celsius), 1, 0.005/ohms+1e-9)
	}
}

// Rated figures and LSB/√12: JCGM 100:2008 F.2.2.1. A count of milliohm() is 6.25 mA.
func TestQuantisationIsNoiseOrZero(t *testing.T) {
	const count = 6.25e-3
	rounding := count / math.Sqrt(12)
	for _, c := range []struct {
		name                       string
		noise, zero                float64
		wantNoise, wantRound, want float64 // want is the zero's
	}{
		{"quiet: the same rounding at each reading", 0, 0, 0, rounding, rounding},
		{"quiet, with a zero of its own", 0, 3e-3, 0, rounding, math.Sqrt(9e-6 + count*count/12)},
		{"noise just too small to dither", 0.49 * count, 0, 0.49 * count, rounding, rounding},
		{"noise that dithers: independent rounding", count / 2, 1e-3, count * math.Sqrt(0.25+1./12), 0, 1e-3},
	} {
		t.Run(c.name, func(t *testing.T) {
			config := channel(milliohm(), func(s *sensor.Config) { s.NoiseAmperes, s.ZeroAmperes, s.GainRatio = c.noise, c.zero, 2e-3 })
			r := read(t, config, frame([]float64{1, 2}))
			near(t, "noise", r.NoiseAmperes, c.wantNoise, 1e-14)
			near(t, "rounding", r.RoundingAmperes, c.wantRound, 1e-14)
			near(t, "zero", r.ZeroAmperes, c.want, 1e-14)
			noise, zero, gain := must(t, config).StaticUncertainty()
			if noise != r.NoiseAmperes || zero != r.ZeroAmperes || gain != 2e-3 || r.GainRatio != 2e-3 {
				t.Errorf("told: %v %v %v, readings: %+v", noise, zero, gain, r)
			}
		})
	}
	t.Run("volts are not quantised", func(t *testing.T) {
		if noise, zero, _ := must(t, channel(milliohm(), volts)).StaticUncertainty(); noise != 0 || zero != 0 {
			t.Errorf("noise %v A, zero %v A", noise, zero)
		}
	})
}

func TestFullScaleIsWhatOneDirectionCanReadAtLeast(t *testing.T) {
	unipolar := func(c *sensor.Config) { c.MinimumRaw, c.MaximumRaw = 0, 4000 }
	for _, c := range []struct {
		name   string
		config sensor.Config
		want   float64
	}{
		{"the converter", channel(milliohm()), 204.8},
		{"one direction only", channel(milliohm(), unipolar), 25},
		{"reversed", channel(milliohm(), unipolar, reversed), 25},
		{"the sensor", channel(milliohm(), limited(150)), 150},
		{"the sensor, of volts", channel(milliohm(), volts, limited(150)), 150},
	} {
		if got, known := must(t, c.config).FullScale(); !known || got != c.want {
			t.Errorf("%s: %v A, known %v, want %v A", c.name, got, known, c.want)
		}
	}
	if _, known := must(t, channel(milliohm(), volts)).FullScale(); known {
		t.Error("a limit is known where there is none")
	}
}

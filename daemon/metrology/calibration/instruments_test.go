package calibration_test

import (
	"math"
	"testing"

	"github.com/ampledger/ampledger/daemon/metrology/calibration"
	"github.com/ampledger/ampledger/daemon/referencetest"
)

// The recordings of two instruments on one cell. B steps by 2 mA, the error of a step is common to points of one current; A scatters by some 1.5 mA.
const (
	stepAmperes    = 0.002
	scatterAmperes = 0.0015
)

var ofSteps = calibration.Common{OffsetAmperes: stepAmperes / math.Sqrt2 / math.Sqrt(6)} // step/√12

// both gives the points of a record at which the two instruments had settled: B's current as the reference, with a sign.
func both(t *testing.T, recording, record string, sign float64) (points []calibration.Point) {
	t.Helper()
	for _, row := range referencetest.Table(t, "recordings/"+recording+".csv") {
		if row["record"] == record && referencetest.Number(t, row["time_s"]) > 20 {
			points = append(points, calibration.Point{
				ReferenceAmperes: sign * referencetest.Number(t, row["sensor_b_a"]), ReferenceUncertaintyAmperes: stepAmperes / math.Sqrt(12),
				IndicatedAmperes: referencetest.Number(t, row["sensor_a_a"]), IndicatedUncertaintyAmperes: scatterAmperes,
			})
		}
	}
	return points
}

// misses gives how far the mean indication of points about a current lies from what a curve says, over the standard uncertainty of the difference.
func misses(c *calibration.Curve, points []calibration.Point, low, high float64) (amperes, ratio float64) {
	sum, expected, n, at := 0.0, 0.0, 0.0, 0.0
	for _, p := range points {
		if p.ReferenceAmperes >= low && p.ReferenceAmperes < high {
			x, _ := c.Indication(p.ReferenceAmperes)
			sum, expected, at, n = sum+p.IndicatedAmperes, expected+x, at+p.ReferenceAmperes, n+1
		}
	}
	_, u := c.Indication(at / n)
	amperes = (sum - expected) / n
	return amperes, math.Abs(amperes) / math.Hypot(u, scatterAmperes/math.Sqrt(n))
}

// Calibrating A against B in the first charge gives gain and offset whose intervals hold for the later charges, band by band.
//
// For the discharges they hold in some records and not in others, and it can be told why. Those currents, −4 A, lie outside of the calibrated span of 0 to
// 1.5 A and in the other direction; what the recording calls B is another instrument there, at the load and no longer at the charger; and while that one shows
// the same current in every record, A moves by 3.3 mA from record to record, five times the calibration's uncertainty: no fixed gain and offset can follow.
func TestTwoInstruments(t *testing.T) {
	charge := both(t, "two_sensors_charge_early", "1", 1)
	c := curveOf(t, charge, straight, ofSteps)
	l := c.Line()
	if math.Abs(l.Gain-1.00768) > 2e-5 || l.GainUncertainty > 1e-4 || math.Abs(l.OffsetAmperes-0.00078) > 5e-5 || c.Enlarged != 1 {
		t.Errorf("%+v, enlarged %g", l, c.Enlarged)
	}
	for _, record := range []string{"2", "3"} {
		later := both(t, "two_sensors_charge_early", record, 1)
		for _, band := range [][2]float64{{0.03, 0.1}, {0.1, 0.3}, {0.3, 0.6}, {0.6, 0.9}, {1.2, 1.4}, {1.4, 1.6}} {
			if amperes, ratio := misses(c, later, band[0], band[1]); ratio > 1.96 {
				t.Errorf("charge %s, %v A: %.2g A off, %.2g standard uncertainties", record, band, amperes, ratio)
			}
		}
	}
	if !c.Covers(1.2) || c.Covers(-3.996) {
		t.Error("the span of the calibration is not told")
	}
	least, greatest := math.Inf(1), math.Inf(-1)
	for _, record := range []string{"1", "2", "3", "4", "5", "6", "7", "8"} {
		amperes, _ := misses(c, both(t, "square_wave_discharge_early", record, -1), -4.1, -3.9)
		least, greatest = min(least, amperes), max(greatest, amperes)
	}
	_, u := c.Indication(-3.996)
	if least < 0.0004 || greatest > 0.004 || greatest-least < 5*u || least > 1.96*u {
		t.Errorf("discharges lie %.3g A to %.3g A off, the calibration's uncertainty there is %.2g A: the comment above is wrong", least, greatest, u)
	}
}

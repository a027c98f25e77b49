package guard

import (
	"math"
	"testing"
)

func inverseTime(curve string, pickup, multiplier float64) Setting {
	return Setting{Side: Positive, InverseTime: &InverseTime{Curve: curve, PickupAmperes: pickup, TimeMultiplier: multiplier}}
}

// For two levels of current the integral is a sum of two fractions. IEC very inverse at TM 0.1 takes 1.35 s at 2 times pickup and
// 0.3375 s at 5 times: after 0.8 s of the first, 1 - 0.8/1.35 = 0.4074 is left, which the second uses up in 0.1375 s.
func TestIntegralOverTwoLevels(t *testing.T) {
	g := must(t, inverseTime("iec-very-inverse", 100, 0.1))
	r := constant(200, 1000)
	for k := 801; k < len(r.Amperes); k++ {
		r.Amperes[k] = 500
	}
	settle(r)
	got := collect(g, r)
	if story(got) != "raised@0 operated@938" {
		t.Errorf("got %s, want to operate at the first scan after 937.5 ms", story(got))
	}
}

// Pulses: ieee-very-inverse at TM 0.1 takes 0.70277 s at 2 times pickup and resets in 2.16 s at no current. Each pulse of 0.4 s and pause of
// 0.4 s adds 0.4/0.70277 - 0.4/2.16 = 0.38399, after a first pulse's 0.56918: the second pulse begins at 0.38399 and is over at 0.95317, the
// third, at 0.76798, needs 0.16306 s more.
func TestIntegralOverPulses(t *testing.T) {
	g := must(t, inverseTime("ieee-very-inverse", 100, 0.1))
	r := constant(0, 2401)
	for k := range r.Amperes {
		if k == 0 || (k-1)%800 < 400 {
			r.Amperes[k] = 200
		}
	}
	settle(r)
	got := collect(g, r)
	if story(got) != "raised@0 operated@1764" || len(got) != 2 || got[1].Event != 1 {
		t.Errorf("got %s, want one event that operates after 1600 + 163.06 ms", story(got))
	}
}

// long-time-inverse at TM 0.01 takes 0.3 s at 5 times pickup.
func TestInverseTimeStates(t *testing.T) {
	definite := inverseTime("long-time-inverse", 100, 0.01)
	definite.InverseTime.ResetSeconds = 0.2
	atOnce := inverseTime("long-time-inverse", 100, 0.01)
	byCurve := inverseTime("ieee-moderately-inverse", 100, 0.1) // 0.1688 s at 5 times pickup; reset 0.485 s at no current
	held := inverseTime("ieee-moderately-inverse", 100, 0.1)
	held.InverseTime.Reset, held.InverseTime.ResetSeconds = ResetDefinite, 0.2
	runTable(t, []row{
		{"the pickup scan is t = 0", atOnce, "0 500 500 500 500 0", "raised@1 operated@4 cleared@5"},
		{"just pickup never operates", atOnce, "100 100 100 100 100 100", "raised@0"},
		{"between drop-off and pickup holds the integral", atOnce, "500 500 500 96 96 96 500", "raised@0 operated@6"},
		{"below drop-off forgets at once", atOnce, "500 500 500 94 500 500 500 500", "raised@0 cleared@3 raised@4 operated@7"},
		{"a definite reset holds for its time", definite, "500 500 500 0 500", "raised@0 operated@4"},
		{"then forgets", definite, "500 500 500 0 0 500 500", "raised@0 cleared@4 raised@5"},
		{"a pickup ends the reset", definite, "500 0 500 0 100 0 500 500", "raised@0 operated@7"},
		{"a current that hangs does not", definite, "500 0 96 0", "raised@0 cleared@2"},
		{"operated stands until reset", definite, "500 500 500 500 0 500 0 0", "raised@0 operated@3 cleared@7"},
		{"the other side is no current", byCurve, "500 500 500 -900 -900 -900 -900 -900 0", "raised@0 operated@2 cleared@7"},
		{"nothing run is reset by any reading", byCurve, "500 +-0.1s 0", "raised@0 cleared@1"},
		{"a value beyond all sense leaves an integral that resets", byCurve, "500 1e300o 0 0 0 0 0 0", "raised@0 operated@1 cleared@6"},
		{"an IEEE curve may be reset definitely", held, "500 500 0 500 0 0", "raised@0 operated@3 cleared@5"},
	})
}

// The reset of a partly run integral takes its part of the reset time.
func TestPartialReset(t *testing.T) {
	g := must(t, inverseTime("ieee-extremely-inverse", 100, 0.1)) // 0.95217 s at 2 times pickup, reset 2.91 s
	r := constant(200, 3000)                                      // half a second: 0.52512 of the integral, 1.5281 s to reset
	for k := 501; k < len(r.Amperes); k++ {
		r.Amperes[k] = 0
	}
	settle(r)
	if got := story(collect(g, r)); got != "raised@0 cleared@2029" {
		t.Errorf("got %s, want to clear at the first scan after 500 + 1528.1 ms", got)
	}
}

// The rates are those of the formulas, with math.Pow for the exponent, and sane at their ends.
func TestCurveRates(t *testing.T) {
	for _, c := range curves {
		for _, m := range []float64{1.0001, 1.05, 1.5, 3, 20, 1000} {
			want := c.k/(math.Pow(m, c.alpha)-1) + c.c
			if got := 1 / c.operateRate(m); math.Abs(got-want) > 1e-9*want {
				t.Errorf("%s at M = %v: %v s, want %v", c.name, m, got, want)
			}
		}
		if rate := c.operateRate(1); rate != 0 {
			t.Errorf("%s at pickup: rate %v, want 0", c.name, rate)
		}
	}
}

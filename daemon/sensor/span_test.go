package sensor

import (
	"math"
	"math/rand/v2"
	"testing"
)

// TestACurveGoesOnStraight beyond what it was found at: no reading turns back, none is lost, and within the span it is the curve.
func TestACurveGoesOnStraight(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 2))
	for range 2000 {
		c := Correction{
			Coefficients: [4]float64{random.NormFloat64(), 1 + 0.05*random.NormFloat64(), 1e-4 * random.NormFloat64(), 1e-6 * random.NormFloat64()},
			Least:        -200 * random.Float64(), Greatest: 200 * random.Float64(),
		}
		if c.validate(None) != nil {
			continue // it turns within its span
		}
		b := bendOf(&c)
		last := math.Inf(-1)
		for v := -2000.0; v <= 2000; v += 7 {
			y := b.straighten(v)
			if !(y > last) {
				t.Fatalf("%+v: %g A come of %g, and %g A of the indication before", c, y, v, last)
			}
			last = y
			if back := b.indication(y); math.Abs(back-v) > 1e-9*math.Max(1, math.Abs(v)) {
				t.Fatalf("%+v: %g A come of %g, and would indicate %g", c, y, v, back)
			}
		}
	}
}

func TestACurveThatTurnsIsRefused(t *testing.T) {
	for name, c := range map[string]struct {
		correction Correction
		ok         bool
	}{
		"it turns beyond its span": {Correction{Coefficients: [4]float64{0, 1, 0, -1e-6}, Least: -400, Greatest: 400}, true},
		"it turns within":          {Correction{Coefficients: [4]float64{0, 1, 0, -1e-6}, Least: -700, Greatest: 700}, false},
		"it dips in the middle":    {Correction{Coefficients: [4]float64{0, 1, -0.02, 1e-4}, Least: 0, Greatest: 200}, false},
		"its span is none":         {Correction{Coefficients: [4]float64{0, 1, 0, 1e-6}, Least: 10, Greatest: 10}, false},
		"its span is reversed":     {Correction{Coefficients: [4]float64{0, 1, 0, 1e-6}, Least: 10, Greatest: -10}, false},
	} {
		if err := c.correction.validate(None); (err == nil) != c.ok {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// TestASpanGoesThroughALine: it is of what is given out.
func TestASpanGoesThroughALine(t *testing.T) {
	curve := Correction{Coefficients: [4]float64{0, 1, 0, 1e-6}, Least: -100, Greatest: 200}
	line := Correction{Coefficients: [4]float64{4, 2, 0, 0}}
	over, err := curve.Beneath(line)
	if err != nil || over.Least != -52 || over.Greatest != 98 {
		t.Errorf("a line on a curve: %g to %g A, %v", over.Least, over.Greatest, err)
	}
	over, err = line.Beneath(curve)
	if err != nil || over.Least != -100 || over.Greatest != 200 {
		t.Errorf("a curve on a line: %g to %g A, %v", over.Least, over.Greatest, err)
	}
}

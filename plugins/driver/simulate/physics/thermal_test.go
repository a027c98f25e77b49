package physics

import (
	"math"
	"testing"
)

func TestLagAnswersAStepExponentially(t *testing.T) {
	for _, lag := range []float64{0.5, 30, 1e6} {
		for _, step := range []float64{0.001, 1, 45} {
			l := NewLag(lag, step)
			l.StartAt(10)
			for i := 1; i <= 200; i++ {
				got, want := l.Next(110), 10+100*(1-math.Exp(-float64(i)*step/lag))
				if math.Abs(got-want) > 1e-9 {
					t.Fatalf("lag %v s, step %v s: %v after %d steps, want %v", lag, step, got, i, want)
				}
			}
		}
	}
	none, fresh := NewLag(0, 1), NewLag(100, 1)
	if a, b, c := none.Next(5), none.Next(7), fresh.Next(5); a != 5 || b != 7 || c != 5 {
		t.Errorf("without a lag %v and %v, a lag begins at %v, want 5, 7 and 5", a, b, c)
	}
}

func TestWarmth(t *testing.T) {
	quiet := newWarmth(Body{LagSeconds: 100, KelvinPerSquareAmpere: 0.01}, Thermometer{LagSeconds: 50, OffsetKelvin: 0.25, QuantumKelvin: 0.5}, 1, nil)
	body, measured := quiet.next(20, 0)
	if body != 20 || measured != 20 { // 20.25 is nearest to an even number of quanta at 20
		t.Errorf("at first %v and %v °C, want 20 and 20", body, measured)
	}
	for range 2000 {
		body, measured = quiet.next(20, -50)
	}
	if math.Abs(body-45) > 1e-6 || measured != 45 {
		t.Errorf("after a long load %v and %v °C, want 45 and 45", body, measured)
	}
	noisy := newWarmth(Body{}, Thermometer{NoiseKelvin: 0.1}, 1, stream(3, shuntThermometerStream))
	const n = 5000
	squares := 0.0
	for range n {
		body, measured = noisy.next(20, 0)
		squares += (measured - body) * (measured - body) / 0.01
	}
	withinChiSquared(t, "noise of the thermometer", squares, n)
}

func TestEMFFollowsThePowerWhicheverWayTheCurrentFlows(t *testing.T) {
	s := Shunt{Converter: Converter{-1e9, 1e9, 1e-9, 0}, Ohms: 1e-4, Gain: 1, ThermalEMF: ThermalEMF{VoltsPerKelvin: 2e-6, KelvinPerWatt: 0.5, LagSeconds: 10}}
	run, back := newShuntRun(&s, 1, 1), newShuntRun(&s, 1, 1)
	for i := 1; i <= 50; i++ {
		there, here := run.next(&instant{amperes: 300}, 0, false), back.next(&instant{amperes: -300}, 0, false)
		want := 2e-6 * 0.5 * (300 * 300 * 1e-4) * (1 - math.Exp(-float64(i)/10)) / 1e-4
		if math.Abs(there.TrueOffsetAmperes-want) > 1e-9 || math.Abs(here.TrueOffsetAmperes-want) > 1e-9 {
			t.Fatalf("after %d s true offsets %v and %v A, want %v", i, there.TrueOffsetAmperes, here.TrueOffsetAmperes, want)
		}
	}
	if rest := run.next(&instant{}, 0, false); !(rest.TrueOffsetAmperes > 0.01) {
		t.Errorf("just after the load the offset is %v A, want what the warm end leaves", rest.TrueOffsetAmperes)
	}
}

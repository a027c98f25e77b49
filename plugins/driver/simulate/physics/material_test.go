package physics

import (
	"errors"
	"math"
	"testing"

	"pgregory.net/rapid"
)

// iron is the default material with 500 A of full scale, 0.5 A of remanence and a coercive share.
func iron(t interface{ Fatal(...any) }, share float64) Material {
	m, err := Default(500, 0.1).WithCoerciveShare(share)
	if err == nil {
		m, err = m.WithRemanence(0.5)
	}
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// settled gives a core on the major loop, at plus full scale.
func settled(m Material) *domains {
	core := m.demagnetised()
	for range 3 {
		path(core, -m.FullScaleAmperes, m.FullScaleAmperes)
	}
	return core
}

func TestRemanenceAndCoercivityAreThoseStated(t *testing.T) {
	for _, share := range []float64{0.001, 0.01, 0.03, 0.1, 0.2} {
		m := iron(t, share)
		core := settled(m)
		loop := core.Advance(0)
		if math.Abs(loop-0.5) > 0.005 {
			t.Errorf("share %v: %v A are left of the major loop, want 0.5", share, loop)
		}
		if got := path(m.Start(), m.FullScaleAmperes, 0)[1]; math.Abs(got-0.5) > 1e-9 {
			t.Errorf("share %v: %v A are left of an excursion, want 0.5", share, got)
		}
		if got := path(m.Start(), -m.FullScaleAmperes, 0)[1]; math.Abs(got+0.5) > 1e-9 {
			t.Errorf("share %v: %v A are left of an excursion downwards, want -0.5", share, got)
		}
		before := core.magnetisation()
		core.Advance(-share * 0.98 * m.FullScaleAmperes)
		above := core.magnetisation()
		core.Advance(-share * 1.02 * m.FullScaleAmperes)
		if below := core.magnetisation(); !(before > above && above > 0 && below < 0) {
			t.Errorf("share %v: magnetisation %v, %v and %v A/m from zero over the coercive field", share, before, above, below)
		}
	}
	if _, err := Default(500, 0.1).WithCoerciveShare(0.9); !errors.Is(err, ErrCoercivity) {
		t.Errorf("a coercive share of 0.9: %v", err)
	}
	if _, err := Default(500, 0.1).WithRemanence(1); !errors.Is(err, ErrRemanence) {
		t.Errorf("remanence without pinning: %v", err)
	}
}

func TestMajorLoopIsSymmetricAndClosed(t *testing.T) {
	m := iron(t, 0.05)
	core := settled(m)
	var down, up [201]float64 // magnetisation
	for i := range down {
		core.Advance(m.FullScaleAmperes * (1 - float64(i)/100))
		down[i] = core.magnetisation()
	}
	for i := range up {
		core.Advance(m.FullScaleAmperes * (-1 + float64(i)/100))
		up[i] = core.magnetisation()
	}
	for i := range down {
		if math.Abs(down[i]+up[i]) > 1e-5*m.MsAmperesPerMeter {
			t.Fatalf("at step %d %v A/m down, %v up", i, down[i], up[i])
		}
		if down[i] < up[200-i]-2e-5*m.MsAmperesPerMeter {
			t.Fatalf("at step %d the branch down, %v A/m, is under the branch up, %v", i, down[i], up[200-i])
		}
	}
	if math.Abs(up[200]-down[0]) > 2e-5*m.MsAmperesPerMeter {
		t.Errorf("the loop begins at %v A/m and ends at %v", down[0], up[200])
	}
}

func TestMinorLoopsStayInside(t *testing.T) {
	m := iron(t, 0.05)
	top := *settled(m)
	bottom := top
	bottom.Advance(-m.FullScaleAmperes)
	rapid.Check(t, func(t *rapid.T) {
		core := m.demagnetised()
		for _, amperes := range rapid.SliceOfN(rapid.Float64Range(-500, 500), 1, 20).Draw(t, "drive") {
			core.Advance(amperes)
			upper, lower := top, bottom
			upper.Advance(amperes)
			lower.Advance(amperes)
			slack := 1e-4 * m.MsAmperesPerMeter
			if got := core.magnetisation(); got > upper.magnetisation()+slack || got < lower.magnetisation()-slack {
				t.Fatalf("%v A/m at %v A, the major loop is within %v to %v", got, amperes, lower.magnetisation(), upper.magnetisation())
			}
		}
	})
}

// drawMaterial draws any material that the documentation allows.
func drawMaterial(t *rapid.T) Material {
	m := Default(rapid.Float64Range(1, 5000).Draw(t, "full scale"), rapid.Float64Range(0.01, 1).Draw(t, "path"))
	m.MsAmperesPerMeter = rapid.Float64Range(1e4, 2e6).Draw(t, "Ms")
	m.AAmperesPerMeter *= rapid.Float64Range(0.1, 10).Draw(t, "a")
	m.KAmperesPerMeter = m.AAmperesPerMeter * rapid.Float64Range(1e-3, 10).Draw(t, "k")
	m.C = rapid.Float64Range(0, 0.99).Draw(t, "c")
	m.Alpha = rapid.Float64Range(0, 2.95).Draw(t, "alpha") * m.AAmperesPerMeter / m.MsAmperesPerMeter
	m.ScaleMeters = 1
	return m
}

func TestAnyMaterialWithstandsAnyDrive(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := drawMaterial(t)
		core, drive := m.demagnetised(), rapid.OneOf(rapid.Float64(), rapid.Float64Range(-1.2, 1.2), rapid.Float64Range(-1e-3, 1e-3))
		for _, share := range rapid.SliceOfN(drive, 1, 30).Draw(t, "drive") {
			before, field := core.magnetisation(), core.field
			got, moved := core.Advance(share*m.FullScaleAmperes), core.magnetisation()-before
			if math.IsNaN(got) || math.IsInf(got, 0) || !(math.Abs(core.magnetisation()) <= m.MsAmperesPerMeter*(1+1e-6)) {
				t.Fatalf("error %v A, magnetisation %v A/m at %v of full scale", got, core.magnetisation(), share)
			}
			if moved*(core.field-field) < 0 && math.Abs(moved) > 1e-5*m.MsAmperesPerMeter {
				t.Fatalf("negative susceptibility: %v A/m for %v A/m of field", moved, core.field-field)
			}
			if miss := core.now.effective - m.Alpha*core.magnetisation() - core.field; !(math.Abs(miss) <= 1e-4*m.AAmperesPerMeter) {
				t.Fatalf("He − α·M misses H by %v A/m", miss)
			}
			if again := core.Advance(share * m.FullScaleAmperes); again != got {
				t.Fatalf("staying changes the error from %v to %v A", got, again)
			}
		}
	})
	core := iron(t, 0.01).demagnetised()
	if got := path(core, math.NaN(), math.Inf(1), math.NaN(), math.Inf(-1), 0); math.IsNaN(got[4]) || math.IsNaN(got[1]) {
		t.Errorf("errors %v after a current that is no number", got)
	}
}

func TestMaterialIsIndependentOfTheRate(t *testing.T) {
	m := iron(t, 0.05)
	rapid.Check(t, func(t *rapid.T) {
		fast, slow, from := m.demagnetised(), m.demagnetised(), 0.0
		for _, to := range rapid.SliceOfN(rapid.Float64Range(-500, 500), 1, 6).Draw(t, "turns") {
			for i := range 300 {
				slow.Advance(from + (to-from)*float64(i)/300)
			}
			if a, b := slow.Advance(to), fast.Advance(to); math.Abs(a-b) > 0.01*0.5 {
				t.Fatalf("%v A slowly, %v A at once", a, b)
			}
			from = to
		}
	})
}

// TestMaterialAgreesWithTheTextbook holds it against the differential equation taken in very small steps.
func TestMaterialAgreesWithTheTextbook(t *testing.T) {
	m := iron(t, 0.05)
	core := m.demagnetised()
	field, irreversible, magnetisation := 0.0, 0.0, 0.0
	for _, to := range []float64{500, -100, 60, -500, 200, 0, 30, 0} {
		end := to / m.PathMeters
		const steps = 200_000
		step := (end - field) / steps
		for range steps {
			field += step
			effective := field + m.Alpha*magnetisation
			shape, rise := langevin(effective / m.AAmperesPerMeter)
			anhysteretic, steep := m.MsAmperesPerMeter*shape, m.MsAmperesPerMeter*rise/m.AAmperesPerMeter
			pinned := max(0, (anhysteretic-irreversible)*math.Copysign(1, step)/m.KAmperesPerMeter)
			irreversible += pinned * step / (1 - m.Alpha*((1-m.C)*pinned+m.C*steep))
			magnetisation = irreversible + m.C*(anhysteretic-irreversible)
		}
		core.Advance(to)
		if got := core.magnetisation(); math.Abs(got-magnetisation) > 1e-3*m.MsAmperesPerMeter {
			t.Errorf("at %v A: %v A/m, the equation gives %v", to, got, magnetisation)
		}
	}
}

package inspection_test

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/ampledger/ampledger/daemon/metrology/inspection"
)

// channel reads a current at 1 kHz for 4 s, 10 mA a count, with a noise of 30 mA.
func channel(current func(seconds float64) float64, change ...func(*inspection.Channel)) inspection.Channel {
	r := rand.New(rand.NewPCG(1, 2))
	c := inspection.Channel{Name: "shunt", Counts: true, NoiseAmperes: 0.03, ZeroAmperes: 0.05, GainRatio: 0.002, FullScaleAmperes: 300}
	for i := range 4000 {
		seconds := float64(i) / 1000
		raw := math.Round((current(seconds) + 0.03*r.NormFloat64()) / 0.01)
		c.Nanos, c.Raw, c.Amperes = append(c.Nanos, int64(i)*1_000_000), append(c.Raw, raw), append(c.Amperes, 0.01*raw)
	}
	for _, each := range change {
		each(&c)
	}
	return c
}

func still(amperes float64) func(float64) float64 { return func(float64) float64 { return amperes } }

func multiplied(by float64) func(*inspection.Channel) {
	return func(c *inspection.Channel) {
		c.Name = "other"
		for i := range c.Amperes {
			c.Amperes[i] *= by
		}
	}
}

// A sound channel passes all; each mistake fails where it should and nowhere else.
func TestInspect(t *testing.T) {
	hum := func(amplitude, hertz float64) func(float64) float64 {
		return func(s float64) float64 { return amplitude * math.Sin(2*math.Pi*hertz*s+1) }
	}
	for name, c := range map[string]struct {
		channels []inspection.Channel
		flow     inspection.Flow
		failed   string // checks that fail
		part     string
	}{
		"sound at rest":      {[]inspection.Channel{channel(still(0.02))}, inspection.Nothing, "", "where nothing flows"},
		"sound under load":   {[]inspection.Channel{channel(still(120))}, inspection.Positive, "", "40 % of full scale"},
		"backwards":          {[]inspection.Channel{channel(still(-120))}, inspection.Positive, "direction and zero", "backwards"},
		"a zero":             {[]inspection.Channel{channel(still(0.4))}, inspection.Nothing, "direction and zero", "take a zero"},
		"a slow ramp":        {[]inspection.Channel{channel(func(s float64) float64 { return 50 + 10*s })}, inspection.Positive, "", ""},
		"noisy":              {[]inspection.Channel{channel(still(0), func(c *inspection.Channel) { c.NoiseAmperes = 0.01 })}, inspection.Nothing, "noise", "3.1 times"},
		"coarse":             {[]inspection.Channel{channel(still(1), func(c *inspection.Channel) { c.FullScaleAmperes = 3 })}, inspection.Positive, "counts of the range", "300 of them"},
		"bytes swapped":      {[]inspection.Channel{channel(still(1), swapped)}, inspection.Positive, "order of bytes", "multiples of 256 only"},
		"scale":              {[]inspection.Channel{channel(still(40))}, inspection.Nothing, "direction and zero, scale", "a tenth of full scale"},
		"near its limit":     {[]inspection.Channel{channel(still(295))}, inspection.Positive, "scale", "saturates"},
		"50 Hz":              {[]inspection.Channel{channel(hum(0.2, 50))}, inspection.Nothing, "pick-up at 50 Hz", "0.199 A (amplitude): more than noise"},
		"60 Hz":              {[]inspection.Channel{channel(hum(0.1, 60))}, inspection.Nothing, "pick-up at 60 Hz", "0.101 A (amplitude): more than noise"},
		"50 Hz, hardly":      {[]inspection.Channel{channel(hum(0.01, 50))}, inspection.Nothing, "", "within the noise that is stated"},
		"55 Hz":              {[]inspection.Channel{channel(hum(0.1, 55))}, inspection.Nothing, "", ""},
		"unusable":           {[]inspection.Channel{channel(still(0), func(c *inspection.Channel) { c.Unusable = 50 })}, inspection.Nothing, "usable readings", "50 of 4050"},
		"two that agree":     {[]inspection.Channel{channel(still(100)), channel(still(100.3), multiplied(1))}, inspection.Positive, "", "differ by 0.3 A"},
		"one backwards":      {[]inspection.Channel{channel(still(100)), channel(still(100), multiplied(-1))}, inspection.Unknown, "agreement", "one of them is mounted backwards"},
		"one with two turns": {[]inspection.Channel{channel(still(50)), channel(still(50), multiplied(2))}, inspection.Positive, "noise, agreement", "one reads 2 times the other"},
		"one off":            {[]inspection.Channel{channel(still(100)), channel(still(103), multiplied(1))}, inspection.Positive, "agreement", "not as stated"},
	} {
		var failed []string
		text := ""
		for _, f := range inspection.Inspect(c.channels, c.flow) {
			text += f.Check + ": " + f.Text + "\n"
			if f.Verdict == inspection.Failed {
				failed = append(failed, f.Check)
			}
		}
		if got := strings.Join(failed, ", "); got != c.failed || !strings.Contains(text, c.part) {
			t.Errorf("%s: failed %q, want %q and %q in\n%s", name, got, c.failed, c.part, text)
		}
	}
}

// swapped exchanges the two bytes of each count.
func swapped(c *inspection.Channel) {
	for i, raw := range c.Raw {
		code := uint16(int16(raw))
		c.Raw[i] = float64(code>>8 | code<<8)
		c.Amperes[i] = 0.01 * c.Raw[i] / 256
	}
	c.NoiseAmperes, c.FullScaleAmperes = 0.1, 300
}

// With nothing to go by nothing is told, and no reading is a fault.
func TestUntold(t *testing.T) {
	slow := channel(still(1), func(c *inspection.Channel) {
		for i := range c.Nanos {
			c.Nanos[i] *= 10
		}
		c.Counts, c.NoiseAmperes, c.FullScaleAmperes = false, 0, 0
	})
	want := map[string]inspection.Verdict{"usable readings": inspection.Passed}
	for _, f := range inspection.Inspect([]inspection.Channel{slow}, inspection.Unknown) {
		if w := want[f.Check]; w == "" && f.Verdict != inspection.Untold || w != "" && f.Verdict != w {
			t.Errorf("%+v", f)
		}
	}
	for _, f := range inspection.Inspect([]inspection.Channel{{Name: "dead"}, slow}, inspection.Positive) {
		if f.Channel == "dead" && (f.Check == "usable readings") != (f.Verdict == inspection.Failed) {
			t.Errorf("%+v", f)
		}
	}
}

// Of white noise one in a thousand lines is taken for pick-up, no more.
func TestNoiseIsNoPickUp(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	seen := 0
	for range 1000 {
		c := channel(still(0), func(c *inspection.Channel) {
			for i := range c.Amperes {
				c.Amperes[i] = r.NormFloat64()
			}
			c.NoiseAmperes = 0.01 // so that all that is seen fails
			c.Nanos, c.Raw, c.Amperes = c.Nanos[:500], c.Raw[:500], c.Amperes[:500]
		})
		for _, f := range inspection.Inspect([]inspection.Channel{c}, inspection.Nothing) {
			if strings.HasPrefix(f.Check, "pick-up") && f.Verdict == inspection.Failed {
				seen++
			}
		}
	}
	if seen > 10 {
		t.Errorf("in 2000 spectra of noise %d lines were seen, 2 are expected", seen)
	}
}

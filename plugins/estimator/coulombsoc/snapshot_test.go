package coulombsoc

import (
	"bytes"
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"

	"github.com/ampledger/ampledger/plugins/plugin"
)

// course lets a day of duty with marks go by, some of them wrong, a run that ends, and adjustments; each call of a step gives the same.
func course(p *pack, from, to int) {
	for k := from; k < to; k++ {
		c := p.charge
		if k == 60 {
			c.ZeroCoulombs, c.NoiseSquareCoulombs, c.GapBoundCoulombs = 0, 0, 200
		}
		c.OutCoulombs += float64(k%7) * 31.7
		c.InCoulombs += float64(k%11) * 19.3
		c.ZeroCoulombs += 0.3
		c.NetUncertaintyCoulombs += 0.3
		c.NoiseSquareCoulombs += 0.7
		c.GainRatio = 0.001
		if k%29 == 28 {
			c.AdjustmentCoulombs += float64(k%5) - 2
			c.NetUncertaintyCoulombs = 2
		}
		var marks []*plugin.Mark
		switch k % 20 {
		case 7:
			marks = []*plugin.Mark{stores(20000-c.OutCoulombs+0.99*c.InCoulombs, 50)}
		case 13:
			marks = []*plugin.Mark{stores(3000, 5)}
		}
		p.next(marks...)
	}
}

func loose(marks string) with {
	return with{"capacity_coulombs": 36000.0, "marks": marks}
}

// TestContinuesFromSnapshots wants the same bits from what was restored after any summary.
func TestContinuesFromSnapshots(t *testing.T) {
	for _, marks := range []string{asCoulombs, asShare} {
		for k := 0; k <= 100; k += 9 {
			p := started(t, loose(marks))
			course(p, 0, k)
			other := p.again(loose(marks))
			for step := k; step < 100; step++ {
				course(p, step, step+1)
				course(other, step, step+1)
				if !proto.Equal(p.answer, other.answer) {
					t.Fatalf("%s, snapshot after %d: %v, then %v", marks, k, p.answer, other.answer)
				}
			}
			a, _ := p.Snapshot()
			b, _ := other.Snapshot()
			if !bytes.Equal(a, b) {
				t.Fatalf("%s, snapshot after %d: %s, then %s", marks, k, a, b)
			}
		}
	}
}

func TestRefusesSnapshots(t *testing.T) {
	p := started(t, loose(asCoulombs))
	course(p, 0, 50)
	sound, err := p.Snapshot()
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct{ old, new, want string }{
		{`coulombsoc/1`, `coulombsoc/2`, `format "coulombsoc/2"`},
		{`"known":true`, `"known":true,"more":1`, "unknown field"},
		{`"known":true`, `"known":1`, "cannot unmarshal"},
		{`"in_coulombs":`, `"in_coulombs":-1`, "counts that are none"},
		{`"gain_ratio":`, `"gain_ratio":-1`, "counts that are none"},
		{`"seconds":`, `"seconds":-`, "counts that are none"},
		{`"from":{"out_coulombs":`, `"from":{"out_coulombs":-`, "counts that are none, or run backwards"},
		{`"independent":[[`, `"independent":[[-1`, "estimate that is none"},
		{`"independent":[[`, `"independent":[[1e300,0,0],[0,1,0],[0,0,1],[`, "estimate that is none"},
		{`"fresh":[[`, `"fresh":[[-`, "estimate that is none"},
		{`"independent":[[`, `"independent":[[0,1e3,1],[`, "estimate that is none"},
		{`"mean":[`, `"mean":[1e999,`, "cannot unmarshal"},
	} {
		text := strings.ReplaceAll(string(sound), c.old, c.new)
		if text == string(sound) {
			t.Fatalf("%q is not in %s", c.old, sound)
		}
		if err := started(t, loose(asCoulombs)).Restore([]byte(text)); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s for %s: error %v, want %q", c.new, c.old, err, c.want)
		}
	}
	for text, want := range map[string]string{
		string(sound) + " {}":          "something follows it",
		`{"format":"coulombsoc/1"}`:    "prior or memory are missing",
		string(sound[:len(sound)-100]): "unexpected EOF",
	} {
		if err := started(t, loose(asCoulombs)).Restore([]byte(text)); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: error %v, want %q", text, err, want)
		}
	}
	if err := started(t, loose(asCoulombs)).Restore(sound); err != nil {
		t.Error(err)
	}
}

// TestOtherSettingsThanInTheSnapshot begins anew with what is stated otherwise now, and with nothing else.
func TestOtherSettingsThanInTheSnapshot(t *testing.T) {
	p := started(t, exact(with{"coulombic_efficiency_uncertainty": 0.01, "coulombic_efficiency": 0.99})).next(stores(20000, 10))
	p.charge.InCoulombs, p.charge.OutCoulombs = 10000, 9950
	p.next(stores(20000, 10))
	rate, u := p.output(eta)
	p = p.again(exact(with{"coulombic_efficiency_uncertainty": 0.01, "coulombic_efficiency": 0.99, "capacity_coulombs": 40000.0, "capacity_uncertainty_ratio": 0.01}))
	p.next()
	p.want(full, 40000, 400)
	p.want(eta, rate, u)
	if value, _ := p.output(left); value < 19000 || value > 21000 {
		t.Errorf("%g C are left", value)
	}
}

// FuzzRestore hands anything over as a snapshot: it is refused, or the estimator goes on with figures that are ones.
func FuzzRestore(f *testing.F) {
	for _, to := range []int{0, 20, 90} {
		p := started(f, loose(asShare))
		course(p, 0, to)
		state, err := p.Snapshot()
		if err != nil {
			f.Fatal(err)
		}
		f.Add(state)
	}
	f.Fuzz(func(t *testing.T, state []byte) {
		p := started(t, loose(asShare))
		if p.Restore(state) != nil {
			return
		}
		for k := range 70 {
			course(p, k, k+1)
			for _, o := range p.answer.GetOutputs() {
				if !finite(o.GetValue()) || !(o.GetUncertaintyValue() >= 0) || !finite(o.GetUncertaintyValue()) {
					t.Fatalf("after a snapshot that was taken: %v", o)
				}
			}
		}
		if _, err := p.Snapshot(); err != nil {
			t.Fatal(err)
		}
	})
}

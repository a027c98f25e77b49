package physics

import (
	"math"
	"slices"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"
)

const second = int64(1e9)

// faulty is a rig of ten scans a second without noise, whose current rises from 0 by 1 A a scan.
func faulty(scans int64, faults ...Fault) *Rig {
	rig := &Rig{PeriodNanos: second / 10, Scans: scans, Faults: faults, Ambient: Ambient{MeanCelsius: 20, SwingKelvin: 5, PeriodNanos: 100 * second}}
	rig.Duty.Add(Segment{Shape: Ramp{0, float64(scans), scans * second / 10}}, scans*second/10)
	rig.Shunt = &Shunt{Converter: Converter{-1000, 1000, 1, 0}, Ohms: 1, Gain: 1}
	rig.Magnetic = &Magnetic{Converter: Converter{-1000, 1000, 1, 0}, VoltsPerAmpere: 1, MinimumVolts: -500, MaximumVolts: 500, Supply: &Supply{NominalVolts: 5, DriftSeconds: 1}}
	return rig
}

// scans gives all scans of a run.
func scans(rig *Rig, seed uint64) (all []Scan) {
	run, scan := New(rig, seed), Scan{}
	for run.Next(&scan) {
		all = append(all, scan)
	}
	return all
}

// TestFaultsComeExactlyWhereTheyAreScheduled wants, of each kind, the scans 50 to 69 and no others changed, and in the way stated.
func TestFaultsComeExactlyWhereTheyAreScheduled(t *testing.T) {
	window := func(f Fault) Fault {
		f.FromNanos, f.LengthNanos = 5*second, 2*second
		return f
	}
	for _, c := range []struct {
		name  string
		fault Fault
		made  func(sound *Scan) // of a sound scan what is wanted
	}{
		{"dropout", Fault{Kind: Dropout, Input: MagneticCode}, func(s *Scan) { s.Absent = 1 << MagneticCode }},
		{"dropout of the supply", Fault{Kind: Dropout, Input: SupplyVolts}, func(s *Scan) { s.Absent = 1 << SupplyVolts }},
		{"stuck code", Fault{Kind: Stuck, Input: ShuntCode}, func(s *Scan) { s.Shunt.Code = 49 }},
		{"stuck contactor", Fault{Kind: Stuck, Input: ContactorOpen}, func(*Scan) {}},
		{"stuck temperature", Fault{Kind: Stuck, Input: ShuntCelsius}, func(s *Scan) { s.Shunt.Celsius = scans(faulty(100), 1)[49].Shunt.Celsius }},
		{"open sense lead", Fault{Kind: OpenSenseLead, Input: ShuntCode}, func(s *Scan) { s.Shunt.Code = 1000 }},
		{"open sense lead, lower rail", Fault{Kind: OpenSenseLead, Input: MagneticCode, LowerRail: true}, func(s *Scan) { s.Magnetic.Code = -1000 }},
		{"missing supply", Fault{Kind: MissingSupply, Input: MagneticCode}, func(s *Scan) { s.Magnetic.Code, s.SupplyVolts = 0, 0 }},
		{"missing supply of the shunt", Fault{Kind: MissingSupply, Input: ShuntCode}, func(s *Scan) { s.Shunt.Code = 0 }},
		{"spike", Fault{Kind: Spike, Input: MagneticCode, Amperes: -7}, func(s *Scan) { s.Magnetic.Code -= 7 }},
		{"spike on the shunt", Fault{Kind: Spike, Input: ShuntCode, Amperes: 5000}, func(s *Scan) { s.Shunt.Code = 1000 }},
		{"false contactor", Fault{Kind: FalseContactor}, func(s *Scan) { s.ContactorOpen = !s.ContactorOpen }},
		{"time repeated", Fault{Kind: TimeRepeated}, func(s *Scan) { s.MonotonicNanos = 4.9e9 }},
	} {
		want := scans(faulty(100), 1)
		for i := 50; i < 70; i++ {
			c.made(&want[i])
		}
		if got := scans(faulty(100, window(c.fault)), 1); !slices.Equal(got, want) {
			t.Errorf("%s: scans %v, want %v", c.name, got[48:72], want[48:72])
		}
	}
	want := slices.Delete(scans(faulty(100), 1), 50, 70)
	if got := scans(faulty(100, window(Fault{Kind: ScansLost})), 1); !slices.Equal(got, want) {
		t.Errorf("lost: sequence %d after %d", got[50].Sequence, got[49].Sequence)
	}
}

func TestFaultsComeAgain(t *testing.T) {
	for _, c := range []struct {
		name  string
		fault Fault
		want  []uint64
	}{
		{"once", Fault{FromNanos: second, LengthNanos: second / 10}, []uint64{10}},
		{"from the first scan", Fault{LengthNanos: second / 5}, []uint64{0, 1}},
		{"every second", Fault{FromNanos: second / 2, LengthNanos: second / 5, EveryNanos: second}, []uint64{5, 6, 15, 16, 25, 26}},
		{"without a pause", Fault{FromNanos: 27 * second / 10, LengthNanos: second / 10, EveryNanos: second / 10}, []uint64{27, 28, 29}},
		{"between two scans", Fault{FromNanos: second/10 + 1, LengthNanos: second / 20}, nil},
		{"to the end of time", Fault{FromNanos: 28 * second / 10, LengthNanos: math.MaxInt64}, []uint64{28, 29}},
	} {
		c.fault.Kind, c.fault.Input = Dropout, ShuntCode
		var got []uint64
		for _, s := range scans(faulty(30, c.fault), 1) {
			if s.Absent.Has(ShuntCode) {
				got = append(got, s.Sequence)
			}
		}
		if !slices.Equal(got, c.want) {
			t.Errorf("%s: absent at %v, want %v", c.name, got, c.want)
		}
	}
}

func TestRandomFaultsComeAtTheirRate(t *testing.T) {
	// One scan of a tenth of a second, a pause of 6 s on average: 10 000 scans see 1000/6.1 of them.
	fault := Fault{Kind: Dropout, Input: ShuntCode, LengthNanos: second / 10, RatePerHour: 600}
	seen := func(seed uint64) (all []uint64) {
		for _, s := range scans(faulty(10_000, fault), seed) {
			if s.Absent != 0 {
				all = append(all, s.Sequence)
			}
		}
		return all
	}
	count := 0.0
	for seed := range uint64(20) {
		count += float64(len(seen(seed)))
	}
	law := distuv.Poisson{Lambda: 20 * 1000 / 6.1}
	if math.Abs(count-law.Lambda) > 4*math.Sqrt(law.Lambda) {
		t.Errorf("%v faults in 20 runs, want about %v", count, law.Lambda)
	}
	if !slices.Equal(seen(1), seen(1)) || slices.Equal(seen(1), seen(2)) {
		t.Error("the faults are not those of the seed")
	}
}

func TestOpenSenseLeadWandersCloseToItsRail(t *testing.T) {
	for _, lower := range []bool{false, true} {
		fault := Fault{Kind: OpenSenseLead, Input: ShuntCode, LengthNanos: 1000 * second, WanderCodes: 30, LowerRail: lower}
		different := map[int32]bool{}
		for _, s := range scans(faulty(900, fault), 1) {
			off := 1000 - s.Shunt.Code
			if lower {
				off = s.Shunt.Code + 1000
			}
			if off < 0 || off > 30 {
				t.Fatalf("code %d", s.Shunt.Code)
			}
			different[off] = true
		}
		if len(different) < 15 {
			t.Errorf("only %d codes", len(different))
		}
	}
}

// TestFaultsAtOnce: a stuck input repeats what a spike had made of it, and the truth knows of nothing.
func TestFaultsAtOnce(t *testing.T) {
	sound := scans(faulty(100), 1)
	got := scans(faulty(100,
		Fault{Kind: Spike, Input: ShuntCode, Amperes: 100, FromNanos: second, LengthNanos: second},
		Fault{Kind: Stuck, Input: ShuntCode, FromNanos: 3 * second / 2, LengthNanos: second},
		Fault{Kind: Dropout, Input: ShuntCode, FromNanos: 2 * second, LengthNanos: second / 10},
		Fault{Kind: FalseContactor, LengthNanos: second}, Fault{Kind: FalseContactor, LengthNanos: second},
	), 1)
	for _, at := range []struct {
		scan int
		code int32
	}{{9, 9}, {10, 110}, {14, 114}, {15, 114}, {24, 114}, {25, 25}} {
		if got[at.scan].Shunt.Code != at.code {
			t.Errorf("scan %d: code %d, want %d", at.scan, got[at.scan].Shunt.Code, at.code)
		}
	}
	if !got[20].Absent.Has(ShuntCode) || got[5].ContactorOpen {
		t.Errorf("absent %b, contactor open %v", got[20].Absent, got[5].ContactorOpen)
	}
	for i := range got {
		if got[i].TrueAmperes != sound[i].TrueAmperes || got[i].Shunt.TrueOffsetAmperes != sound[i].Shunt.TrueOffsetAmperes {
			t.Fatalf("scan %d: the truth has changed", i)
		}
	}
}

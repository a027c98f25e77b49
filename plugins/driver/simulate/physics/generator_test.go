package physics

import (
	"math"
	"slices"
	"sync"
	"testing"
)

// whole is a rig with every error.
func whole(t interface{ Fatal(...any) }) *Rig {
	rig := &Rig{PeriodNanos: second / 10, Scans: 20_000, Ambient: Ambient{MeanCelsius: 20, SwingKelvin: 15, PeriodNanos: 1000 * second}}
	rig.Duty.Repeat = true
	rig.Duty.Add(Segment{Shape: Sine{20, 300, 40 * second}}, 100*second)
	rig.Duty.Add(Segment{ContactorOpen: true, StandingAmperes: 0.3}, 50*second)
	errors := Errors{NoiseAmperes: 0.1, OffsetAmperes: 0.4, WalkAmperesPerRootHour: 0.2, GainErrorRatio: 0.001, GainDriftPerYear: 0.1}
	thermometer := Thermometer{LagSeconds: 20, NoiseKelvin: 0.05, QuantumKelvin: 0.1, OffsetKelvin: 0.5}
	rig.Shunt = &Shunt{
		Converter: Converter{-1 << 31, 1<<31 - 1, 1e-9, 0}, Errors: errors, Ohms: 1e-4, Gain: 50, CoefficientPerKelvin: 5e-5, ReferenceCelsius: 20,
		ThermalEMF: ThermalEMF{1e-6, 0.1, 30}, Body: Body{120, 1e-4}, Thermometer: thermometer,
	}
	rig.Magnetic = &Magnetic{
		Converter: Converter{-1 << 31, 1<<31 - 1, 1e-8, 0}, Errors: errors, VoltsPerAmpere: 0.004, ZeroVolts: 2.5,
		MinimumVolts: math.Inf(-1), MaximumVolts: math.Inf(1), OffsetAmperesPerKelvin: 0.02, OffsetAmperesPerSquaredKelvin: 1e-3, ReferenceCelsius: 25,
		Body: Body{300, 1e-4}, Thermometer: thermometer, Hysteresis: iron(t, 0.01), Supply: &Supply{5, 0.02, 0.01, 600, 0.001, 0.0005},
	}
	return rig
}

func TestSeedDecidesAll(t *testing.T) {
	rig := whole(t)
	rig.Faults = []Fault{{Kind: ScansLost, LengthNanos: second, RatePerHour: 60}, {Kind: Stuck, Input: SupplyVolts, LengthNanos: second, RatePerHour: 60}}
	if first := scans(rig, 5); !slices.Equal(first, scans(rig, 5)) || slices.Equal(first, scans(rig, 6)) {
		t.Error("two runs of one seed differ, or two seeds are the same")
	}
}

func TestRunsShareARig(t *testing.T) {
	rig := whole(t)
	var all [4][]Scan
	var group sync.WaitGroup
	for i := range all {
		group.Go(func() { all[i] = scans(rig, uint64(i%2)) })
	}
	group.Wait()
	if !slices.Equal(all[0], all[2]) || !slices.Equal(all[1], all[3]) {
		t.Error("runs at the same time disturb each other")
	}
}

// TestTrueOffsetIsWhatIsLeft converts the codes of a rig without noise, with its truth about the supply and the temperature.
func TestTrueOffsetIsWhatIsLeft(t *testing.T) {
	rig := whole(t)
	rig.Shunt.NoiseAmperes, rig.Magnetic.NoiseAmperes, rig.Magnetic.Supply.NoiseVolts = 0, 0, 0
	for _, s := range scans(rig, 9) {
		volts := float64(s.Shunt.Code) * 1e-9
		shunt := volts/(50*1e-4*(1+5e-5*(s.Shunt.Celsius-20))) - s.TrueAmperes
		magnetic := (float64(s.Magnetic.Code)*1e-8*5/s.SupplyVolts-2.5)/0.004 - s.TrueAmperes
		if math.Abs(shunt-s.Shunt.TrueOffsetAmperes) > 1e-6 || math.Abs(magnetic-s.Magnetic.TrueOffsetAmperes) > 1e-5 {
			t.Fatalf("scan %d: %v and %v A are left, the true offsets are %v and %v", s.Sequence, shunt, magnetic, s.Shunt.TrueOffsetAmperes, s.Magnetic.TrueOffsetAmperes)
		}
		if s.ContactorOpen && s.TrueAmperes != 0.3 {
			t.Fatalf("scan %d: %v A flow while the contactor is open, want 0.3", s.Sequence, s.TrueAmperes)
		}
	}
}

// TestErrorsDoNotDisturbEachOther takes errors away one at a time and wants the rest of the chance to stay.
func TestErrorsDoNotDisturbEachOther(t *testing.T) {
	all := scans(whole(t), 3)
	for name, take := range map[string]func(*Rig){
		"the magnetic walk":        func(r *Rig) { r.Magnetic.WalkAmperesPerRootHour = 0 },
		"the magnetic thermometer": func(r *Rig) { r.Magnetic.Thermometer = Thermometer{} },
		"the supply":               func(r *Rig) { r.Magnetic.Supply = nil },
		"the hysteresis":           func(r *Rig) { r.Magnetic.Hysteresis = nil },
		"the magnetic channel":     func(r *Rig) { r.Magnetic = nil },
	} {
		rig := whole(t)
		take(rig)
		for i, s := range scans(rig, 3) {
			if s.Shunt != all[i].Shunt {
				t.Errorf("without %s the shunt reads otherwise", name)
				break
			}
		}
	}
}

func TestNextAllocatesNothing(t *testing.T) {
	rig := whole(t)
	rig.Scans = math.MaxInt64 / rig.PeriodNanos
	rig.Faults = []Fault{{Kind: Stuck, Input: ShuntCode, LengthNanos: second, RatePerHour: 3600}}
	run, scan := New(rig, 1), Scan{}
	if got := testing.AllocsPerRun(10_000, func() { run.Next(&scan) }); got != 0 {
		t.Errorf("%v allocations a scan", got)
	}
}

func TestNamesOfInputsAndFaults(t *testing.T) {
	for i := ShuntCode; i <= ContactorOpen; i++ {
		if got, ok := InputNamed(i.String()); got != i || !ok {
			t.Errorf("input %d is named %s", i, i)
		}
		scan := Scan{}
		if scan.set(i, 1); scan.value(i) != 1 {
			t.Errorf("%s does not keep its value", i)
		}
	}
	for k := Dropout; k <= TimeRepeated; k++ {
		if got, ok := FaultKindNamed(k.String()); got != k || !ok {
			t.Errorf("fault %d is named %s", k, k)
		}
	}
	_, input := InputNamed("")
	if _, kind := FaultKindNamed("x"); kind || input {
		t.Error("names that there are not")
	}
}

package biasfilter

import (
	"math"
	"testing"

	"github.com/ampledger/ampledger/plugins/plugin"
)

// pair gives a good channel and one that is ten times worse.
func pair(t testing.TB, settings with) *script {
	t.Helper()
	good, poor := mainChannel(), mainChannel()
	good.Name, good.ZeroUncertaintyAmperes, poor.Name, poor.ZeroUncertaintyAmperes = "good", 0.1, "poor", 1
	all := with{"channels": with{"good": with{"zero_walk_amperes_per_root_hour": 0.001, "gain_error_ratio": 0}, "poor": with{"gain_error_ratio": 0}}}
	for k, v := range settings {
		all[k] = v
	}
	return scriptOf(t, started(t, all, good, poor))
}

// A day of load without a rest: the poor channel learns its zero from the good one, down to what that knows, and what it counted before.
func TestDifferenceTeachesThePoorChannel(t *testing.T) {
	s := pair(t, nil)
	s.over(day, restNone, 50, 50.8)
	poor := s.channels[1]
	b, u := s.filter.x[poor.at.zero], math.Sqrt(s.filter.p[poor.at.zero*s.filter.n+poor.at.zero])
	if math.Abs(b-0.8) > 0.1 || u > 0.15 || u < 0.1 {
		t.Errorf("zero %v A ± %v A, want 0.8 A ± 0.1 A", b, u)
	}
	if got := s.filter.x[poor.at.charge]; math.Abs(got-0.8*day) > 0.1*day {
		t.Errorf("B = %v C, want %v C", got, 0.8*day)
	}
	s.wantTold("a difference within the prior")
}

// A gain that is off by 0.4 % beside one that is true shows as the current swings.
func TestDifferenceTeachesTheGain(t *testing.T) {
	s := pair(t, with{"channels": with{"good": with{"gain_error_ratio": 0.0001}, "poor": with{"gain_error_ratio": 0.01}}})
	for k := range 20000 {
		current := 100.0
		if k%100 < 50 {
			current = -100
		}
		s.next(restNone, current, current*1.004)
	}
	poor := s.channels[1].at.gain
	if g, u := s.filter.x[poor], math.Sqrt(s.filter.p[poor*s.filter.n+poor]); math.Abs(g-0.004) > 3e-4 || u > 3e-4 {
		t.Errorf("gain error %v ± %v, want 0.004", g, u)
	}
}

func TestDifferenceIsTakenOnceAMinute(t *testing.T) {
	s := pair(t, nil)
	zero := s.channels[1].at.zero
	changes, before := 0, 0.0
	for range 61 { // the first follows on nothing
		s.next(restNone, 50, 50.8)
		if s.filter.x[zero] != before {
			changes++
		}
		before = s.filter.x[zero]
	}
	if changes != 10 {
		t.Errorf("%d differences in 10 minutes, want 10", changes)
	}
}

// Devices answer in turn, and the second begins half a summary later.
func TestDifferenceOfTwoDevices(t *testing.T) {
	steady, swinging := pair(t, nil), pair(t, nil)
	for k := range 2000 {
		for _, s := range []*script{steady, swinging} {
			current := 50.0
			if s == swinging && k%4 < 2 {
				current = -50
			}
			s.alternate(k, current, current+0.8)
		}
	}
	const floor = 0.1
	zero := steady.channels[1].at.zero
	u := func(s *script) float64 { return math.Sqrt(s.filter.p[zero*s.filter.n+zero]) }
	if b := steady.filter.x[zero]; math.Abs(b-0.8) > 0.1 || u(steady) > 1.5*floor {
		t.Errorf("steady current: zero %v A ± %v A", b, u(steady))
	}
	if u(swinging) < 2*u(steady) {
		t.Errorf("a swinging current, read at different times: zero ± %v A, a steady one ± %v A", u(swinging), u(steady))
	}
}

// alternate observes a summary of each channel on its own device.
func (s *script) alternate(k int, means ...float64) {
	s.Helper()
	for i, c := range s.channels {
		start := int64(k)*1e10 + int64(i)*5e9
		_, err := s.Observe(&plugin.Summary{
			Device: c.name, FirstSequence: uint64(k) * 100, LastSequence: uint64(k)*100 + 99, FirstMonotonicNanos: start + 1e8, LastMonotonicNanos: start + 1e10,
			Rest: restNone, Channels: []*plugin.ChannelSummary{{
				Name: c.name, ReadingCount: 100, MeanAmperes: means[i], MinimumAmperes: means[i] - 1, MaximumAmperes: means[i] + 1,
				IntegralSeconds: 10, IntegralCoulombs: 10 * means[i],
			}},
		})
		if err != nil {
			s.Fatal(err)
		}
	}
}

func TestChannelsThatDisagree(t *testing.T) {
	s := pair(t, nil)
	s.over(3600, restNone, 50, 90)
	s.wantTold("40 A apart", "channels disagree")
	if got := s.filter.x[s.channels[1].at.zero]; got != 0 {
		t.Errorf("zero %v A", got)
	}
	s.over(600, restNone, 50, 50.8)
	s.over(600, restNone, 50, 90)
	s.wantTold("once more, after they agreed", "channels disagree")
}

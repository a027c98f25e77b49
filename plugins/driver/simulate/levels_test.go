package simulate

import (
	"math"
	"testing"

	"github.com/ampledger/ampledger/plugins/driver/simulate/physics"
)

// TestLevelsGiveTheChargeTheirFileStates integrates the recording's profiles, whose header states net change and charge up and down.
func TestLevelsGiveTheChargeTheirFileStates(t *testing.T) {
	const capacity = 280.
	for profile, want := range map[string]struct{ net, up, down, rate float64 }{
		"frequency_reserve": {-0.063101, 8.595223, 8.658324, 0.5284},
		"pv_home":           {0.934019, 10.578251, 9.644232, 0.9183},
	} {
		rig, seed := rig(t, with{"rate_hertz": 0.1, "duration_seconds": 1_209_000, "speed": 0, "duty": []any{
			with{"levels_file": levelsFile, "profile": profile, "capacity_ampere_hours": capacity},
		}})
		if got := rig.Duty.LengthNanos(); got != 1_209_000e9 {
			t.Errorf("%s lasts %d ns, want 1209000 s", profile, got)
		}
		run, scan, up, down, most := physics.New(rig, seed), physics.Scan{}, 0.0, 0.0, 0.0
		for run.Next(&scan) {
			share := scan.TrueAmperes * 10 / 3600 / capacity
			up, down = up+max(-share, 0), down+max(share, 0)
			most = max(most, math.Abs(scan.TrueAmperes)/capacity)
		}
		if math.Abs(up-down-want.net) > 1e-9 || math.Abs(up-want.up) > 1e-9 || math.Abs(down-want.down) > 1e-9 || math.Abs(most-want.rate) > 1e-4 {
			t.Errorf("%s: net %v, up %v, down %v, at most %v per hour, want %+v", profile, up-down, up, down, most, want)
		}
	}
}

func TestLevelsRestAndLoop(t *testing.T) {
	settings := with{"rate_hertz": 0.01, "duration_seconds": 400 * 86400, "duty": []any{with{"levels_file": levelsFile, "profile": "pv_home",
		"capacity_ampere_hours": 100, "rest_when_unchanged": true, "standing_amperes": 0.3, "seconds": 400 * 86400}}}
	rig, seed := rig(t, settings)
	run, scan, rests := physics.New(rig, seed), physics.Scan{}, 0
	first := make([]physics.Scan, 0, 12090)
	for run.Next(&scan) {
		if scan.ContactorOpen {
			rests++
		}
		if scan.ContactorOpen && scan.TrueAmperes != 0.3 {
			t.Fatalf("scan %d: %v A in a rest, want 0.3", scan.Sequence, scan.TrueAmperes)
		}
		if len(first) < cap(first) {
			first = append(first, scan)
		} else if was := first[int(scan.Sequence)%len(first)]; scan.TrueAmperes != was.TrueAmperes || scan.ContactorOpen != was.ContactorOpen {
			t.Fatalf("scan %d: %v A, a loop before %v", scan.Sequence, scan.TrueAmperes, was.TrueAmperes)
		}
	}
	if share := float64(rests) / (400 * 864); scan.Sequence != 400*864-1 || math.Abs(share-1006./2015) > 0.01 {
		t.Errorf("%v of the time rests up to scan %d, want half of 400 days", share, scan.Sequence)
	}
}

package guard

import (
	"errors"
	"math"
	"slices"
	"strings"
	"testing"
)

func TestValidateNamesEveryFaultByItsKey(t *testing.T) {
	inverse := func(change func(*InverseTime)) Setting {
		s := inverseTime("ieee-very-inverse", 300, 0.1)
		change(s.InverseTime)
		return s
	}
	for _, row := range []struct {
		name    string
		setting Setting
		keys    []string
	}{
		{"right", inverse(func(*InverseTime) {}), nil},
		{"nothing set", Setting{Side: Either}, []string{"instantaneous|definite_time|inverse_time|saturation|staleness"}},
		{"two set", Setting{Side: Either, Saturation: &Saturation{1}, Staleness: &Staleness{1}},
			[]string{"instantaneous|definite_time|inverse_time|saturation|staleness"}},
		{"no side", instantaneous(0, 5, 1), []string{"direction"}},
		{"instantaneous", instantaneous(Either, -5, 0), []string{"instantaneous.pickup_amperes", "instantaneous.scans"}},
		{"definite time", definite(Either, math.NaN(), math.Inf(1)), []string{"definite_time.pickup_amperes", "definite_time.delay_seconds"}},
		{"negative delay", definite(Either, 5, -1), []string{"definite_time.delay_seconds"}},
		{"no delay", definite(Either, 5, 0), nil},
		{"inverse time", inverse(func(i *InverseTime) { *i = InverseTime{Curve: "steep", ResetSeconds: -1} }),
			[]string{"inverse_time.curve", "inverse_time.pickup_amperes", "inverse_time.time_multiplier", "inverse_time.reset_seconds"}},
		{"unknown reset", inverse(func(i *InverseTime) { i.Reset = "slow" }), []string{"inverse_time.reset"}},
		{"curve without a law of reset", inverse(func(i *InverseTime) { i.Curve, i.Reset = "iec-very-inverse", "curve" }), []string{"inverse_time.reset"}},
		{"reset time of a curve", inverse(func(i *InverseTime) { i.ResetSeconds = 3 }), []string{"inverse_time.reset_seconds"}},
		{"saturation", Setting{Side: Either, Saturation: &Saturation{}}, []string{"saturation.scans"}},
		{"staleness", Setting{Side: Positive, Staleness: &Staleness{}}, []string{"staleness.after_seconds", "direction"}},
		{"negative drop-off ratio", Setting{Side: Either, DropoffRatio: -1, Instantaneous: &Instantaneous{5, 1}}, []string{"dropoff_ratio"}},
		{"drop-off ratio", Setting{Side: Either, DropoffRatio: 1.1, Instantaneous: &Instantaneous{5, 1}}, []string{"dropoff_ratio"}},
	} {
		t.Run(row.name, func(t *testing.T) {
			row.setting.Name = "this"
			if got := keys(row.setting.Validate()); !slices.Equal(got, row.keys) {
				t.Errorf("got faults of %q, want %q", got, row.keys)
			}
		})
	}
}

// keys lists the faults' keys in order.
func keys(err error) (keys []string) {
	if err == nil {
		return nil
	}
	for _, one := range err.(interface{ Unwrap() []error }).Unwrap() {
		var fault *Fault
		if errors.As(one, &fault) {
			keys = append(keys, fault.Key)
		}
	}
	return keys
}

func TestNewReportsAllElements(t *testing.T) {
	bad := instantaneous(Either, 0, 1)
	bad.Name = "low"
	good := definite(Either, 5, 1)
	good.Name = "slow"
	_, err := New([]Setting{bad, good, good, {}})
	want := []string{
		`element "low": instantaneous.pickup_amperes: 0 is not a number above 0`,
		`element "slow": name: is taken: give each element its own`,
		`element "": name: is empty: give the element a name`,
		`element "": direction: is not set: say discharge, charge or both`,
	}
	for _, line := range want {
		if err == nil || !strings.Contains(err.Error(), line) {
			t.Errorf("error %q lacks %q", err, line)
		}
	}
}

func TestSettingInWords(t *testing.T) {
	reset := inverseTime("iec-very-inverse", 300, 0.1)
	reset.InverseTime.ResetSeconds = 5
	for words, s := range map[string]Setting{
		"either side at or above 1500 A for 2 consecutive scans, drop-off ratio 0.95":                                  instantaneous(Either, 1500, 2),
		"negative side at or above 150 A for 0.5 s, drop-off ratio 0.95":                                               definite(Negative, 150, 0.5),
		"positive side, iec-very-inverse, pickup 300 A, time multiplier 0.1, drop-off ratio 0.95, reset after 5 s":     reset,
		"positive side, long-time-inverse, pickup 1000000 A, time multiplier 1, drop-off ratio 0.95, reset at once":    inverseTime("long-time-inverse", 1e6, 1),
		"positive side, ieee-very-inverse, pickup 300 A, time multiplier 0.1, drop-off ratio 0.95, reset by the curve": inverseTime("ieee-very-inverse", 300, 0.1),
		"either side at the rail for 3 consecutive scans":                                                              {Side: Either, Saturation: &Saturation{3}},
		"no reading counts for more than 2 s":                                                                          {Side: Either, Staleness: &Staleness{2}},
		"no element":                                                                                                   {},
	} {
		if s.String() != words {
			t.Errorf("got  %s\nwant %s", s, words)
		}
	}
}

func TestNames(t *testing.T) {
	for want, got := range map[string]interface{ String() string }{
		"positive": Positive, "negative": Negative, "either": Either, "none": Side(0),
		"instantaneous": KindInstantaneous, "definite_time": KindDefiniteTime, "inverse_time": KindInverseTime,
		"saturation": KindSaturation, "staleness": KindStaleness,
		"raised": Raised, "operated": Operated, "cleared": Cleared, "unknown": State(9),
	} {
		if got.String() != want {
			t.Errorf("got %q, want %q", got, want)
		}
	}
}

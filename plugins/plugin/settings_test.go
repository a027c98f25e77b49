package plugin_test

import (
	"math"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"github.com/ampledger/ampledger/plugins/plugin"
)

type with = map[string]any

type common struct {
	Speed float64 `json:"speed"`
}

// example has a field of each kind an author might want.
type example struct {
	common
	File   string            `json:"file"`
	Count  int               `json:"count,omitempty"`
	Strict bool              `json:"strict"`
	Shunt  *shunt            `json:"shunt"`
	Items  []shunt           `json:"items"`
	Parts  []part            `json:"parts"`
	ByName map[string]shunt  `json:"by_name"`
	Labels map[string]string `json:"labels"`
	Any    any               `json:"any"`
	Hidden string            `json:"-"`
}

type part struct {
	common
	Label string `json:"label"`
}

type shunt struct {
	Ohms float64 `json:"ohms"`
}

func settingsOf(t testing.TB, fields with) plugin.Settings {
	t.Helper()
	s, err := plugin.NewSettings(fields)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func TestDecodeFillsWhatIsSet(t *testing.T) {
	got := example{common: common{Speed: 1}, File: "kept", Count: 7, Labels: map[string]string{"a": "kept"}}
	err := settingsOf(t, with{
		"count": 12345678, "strict": true, "shunt": with{"ohms": 1e-4}, "items": []any{with{"ohms": 1}, with{}},
		"by_name": with{"pack": with{"ohms": 2}}, "labels": with{"b": "new"}, "any": with{"whatever": []any{with{"key": nil}}},
	}).Decode(&got)
	want := example{
		common: common{Speed: 1}, File: "kept", Count: 12345678, Strict: true, Shunt: &shunt{1e-4}, Items: []shunt{{1}, {}},
		ByName: map[string]shunt{"pack": {2}}, Labels: map[string]string{"a": "kept", "b": "new"},
		Any: with{"whatever": []any{with{"key": nil}}},
	}
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(want, got, cmp.AllowUnexported(example{})); diff != "" {
		t.Error("(-want +got):\n", diff)
	}
}

func TestDecodeOfNothingKeepsTheDefaults(t *testing.T) {
	for name, s := range map[string]plugin.Settings{"zero settings": {}, "no key": settingsOf(t, nil)} {
		got := example{File: "default"}
		if err := s.Decode(&got); err != nil || got.File != "default" {
			t.Errorf("%s: %+v, %v", name, got, err)
		}
	}
}

func TestDecodeNamesTheFault(t *testing.T) {
	for _, c := range []struct {
		settings with
		want     string
	}{
		{with{"fille": "x"}, `unknown setting "fille"`},
		{with{"File": "x"}, `unknown setting "File"`},
		{with{"Hidden": "x"}, `unknown setting "Hidden"`},
		{with{"common": with{"speed": 1}}, `unknown setting "common"`},
		{with{"shunt": with{"ohm": 1}}, `unknown setting "ohm" in "shunt"`},
		{with{"items": []any{with{"ohms": 1}, with{"ohm": 1}}}, `unknown setting "ohm" in "items[1]"`},
		{with{"by_name": with{"pack": with{"ohm": 1}}}, `unknown setting "ohm" in "by_name.pack"`},
		{with{"zeta": 1, "alpha": 1, "shunt": with{"ohm": 1}}, `unknown setting "alpha"; unknown setting "ohm" in "shunt"; unknown setting "zeta"`},
		{with{"speed": "fast", "fille": "x"}, `unknown setting "fille"`},
		{with{"speed": "fast"}, `setting "speed": a string stands where a number is wanted`},
		{with{"speed": with{}}, `setting "speed": a mapping stands where a number is wanted`},
		{with{"speed": math.NaN()}, `setting "speed": a string stands where a number is wanted`},
		{with{"strict": 1}, `setting "strict": a number stands where a boolean is wanted`},
		{with{"count": 1.5}, `setting "count": a number 1.5 stands where a whole number is wanted`},
		{with{"count": true}, `setting "count": a boolean stands where a whole number is wanted`},
		{with{"file": []any{}}, `setting "file": a list stands where a string is wanted`},
		{with{"items": "one"}, `setting "items": a string stands where a list is wanted`},
		{with{"shunt": 3}, `setting "shunt": a number stands where a mapping is wanted`},
		{with{"labels": 3}, `setting "labels": a number stands where a mapping is wanted`},
		{with{"parts": []any{with{"label": "a"}, with{"speed": "fast"}}}, `setting "parts.speed": a string stands where a number is wanted`},
		{with{"shunt": with{"ohms": "low"}}, `setting "shunt.ohms": a string stands where a number is wanted`},
	} {
		if err := settingsOf(t, c.settings).Decode(&example{}); err == nil || err.Error() != c.want {
			t.Errorf("%v:\n got %v\nwant %s", c.settings, err, c.want)
		}
	}
}

func TestSettingsThatCannotBe(t *testing.T) {
	for name, fields := range map[string]with{"a channel": {"a": make(chan int)}, "not UTF-8": {"a": "\xff"}} {
		if _, err := plugin.NewSettings(fields); err == nil {
			t.Errorf("%s: no error", name)
		}
	}
}

// Whatever is set, Decode takes what the fields can hold and refuses every other key.
func TestDecodeProperty(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		known := rapid.MapOf(rapid.SampledFrom([]string{"speed", "count"}), rapid.Int32()).Draw(t, "known")
		unknown := rapid.MapOfN(rapid.StringMatching(`[a-z_.\[\]]{1,6}x`), rapid.Bool(), 0, 3).Draw(t, "unknown")
		fields := with{}
		for key, value := range known {
			fields[key] = value
		}
		for key, value := range unknown {
			fields[key] = value
		}
		s, err := plugin.NewSettings(fields)
		if err != nil {
			t.Fatal(err)
		}
		var got example
		err = s.Decode(&got)
		if (err != nil) != (len(unknown) > 0) {
			t.Fatalf("%v: %v", fields, err)
		}
		if err == nil && (got.Speed != float64(known["speed"]) || got.Count != int(known["count"])) {
			t.Fatalf("%v gave %+v", fields, got)
		}
	})
}

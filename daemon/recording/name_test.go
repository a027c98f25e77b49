package recording

import (
	"slices"
	"testing"
	"time"
)

var names = map[name]string{
	{"adc0", 0, time.Date(2026, 11, 25, 16, 35, 34, 0, time.UTC)}:               "adc0_0000000000000000000_20261125T163534Z.parquet",
	{"a_b/../ °*?[x]%", 1<<63 - 1, time.Date(1970, 1, 1, 0, 0, 0, 0, time.UTC)}: "a%5Fb%2F..%2F+%C2%B0%2A%3F%5Bx%5D%25_9223372036854775807_19700101T000000Z.parquet",
	{"", 5, time.Date(2261, 12, 31, 23, 59, 59, 0, time.UTC)}:                   "_0000000000000000005_22611231T235959Z.parquet",
}

func TestNames(t *testing.T) {
	for n, text := range names {
		if got := n.String(); got != text {
			t.Errorf("%+v is named %s, want %s", n, got, text)
		}
		for suffix, isOpen := range map[string]bool{"": false, ".part": true} {
			if got, open, ok := parseName(text + suffix); got != n || open != isOpen || !ok {
				t.Errorf("%s%s read as %+v, %v, %v", text, suffix, got, open, ok)
			}
		}
	}
	for _, foreign := range []string{"", "x.parquet", "a_1_20261125T163534Z.parquet", "adc0_0000000000000000000_20261125T163534Z.csv",
		"adc0_0000000000000000000_2026.parquet", "adc0_-000000000000000001_20261125T163534Z.parquet", "%zz_0000000000000000000_20261125T163534Z.parquet"} {
		if got, _, ok := parseName(foreign); ok {
			t.Errorf("%q read as %+v", foreign, got)
		}
	}
}

func TestNamesOfADeviceSortByTheirSequences(t *testing.T) {
	var all []string
	for _, sequence := range []int64{0, 9, 10, 1 << 40, 1<<63 - 1} {
		all = append(all, name{"adc0", sequence, time.Unix(1e9-sequence%1e9, 0)}.String())
	}
	if !slices.IsSorted(all) {
		t.Errorf("%v", all)
	}
}

func FuzzName(f *testing.F) {
	for n := range names {
		f.Add(n.device, n.sequence, n.time.Unix())
	}
	f.Fuzz(func(t *testing.T, device string, sequence, seconds int64) {
		n := name{device, sequence & (1<<63 - 1), time.Unix(seconds%9e9, 0).UTC()}
		if n.time.Year() < 1 {
			return
		}
		if got, open, ok := parseName(n.String()); got != n || open || !ok {
			t.Errorf("%q read as %+v, %v, %v, want %+v", n.String(), got, open, ok, n)
		}
	})
}

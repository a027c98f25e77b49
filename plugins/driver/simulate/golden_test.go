package simulate

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"testing"
)

// TestSettingsOfOldGiveTheFramesOfOld holds what simple settings give against the digests of the frames that they gave before the driver
// knew of temperature lags, walks, hysteresis, supplies and faults: a setting that is left out must change nothing, to the last bit.
func TestSettingsOfOldGiveTheFramesOfOld(t *testing.T) {
	for name, c := range map[string]struct {
		settings with
		want     string
	}{
		"all":     {pack(nil), "8e776cb82eb6c57ceb74bec5deddf0a2"},
		"seed":    {pack(with{"seed": 99, "frame_scans": 77}), "6303a74cb00c8dc98c59fbe74c74908b"},
		"bare":    {with{"rate_hertz": 10, "duration_seconds": 3, "speed": 0}, "3a888afaeb26aa91d9cd8b91f1a5735a"},
		"no duty": {pack(with{"duty": []any{}, "repeat": false, "rate_hertz": 3}), "b26443566cd2a1ff76a88ef880be8847"},
	} {
		digest := sha256.New()
		_, frames := play(t, c.settings)
		for _, f := range frames {
			fmt.Fprintln(digest, f.FirstSequence, f.FirstMonotonicNanos, f.FirstWallNanos, f.PeriodNanos, f.ScanCount)
			for _, column := range f.Columns {
				fmt.Fprintln(digest, column.Codes, column.Values)
			}
		}
		if got := hex.EncodeToString(digest.Sum(nil)[:16]); got != c.want {
			t.Errorf("%s: %s, want %s", name, got, c.want)
		}
	}
}

package replay

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/ampledger/ampledger/plugins/plugin"
)

// BenchmarkStream plays a recording of a time and two inputs as fast as it goes, without the way through gRPC.
func BenchmarkStream(b *testing.B) {
	const rows = 200_000
	var text strings.Builder
	text.WriteString("time_s,current_a,counter_ah\n")
	for i := range rows {
		fmt.Fprintf(&text, "%d.%03d,-%d.%05d,-0.%05d\n", i/10, i%10*100+i%7, i%20, i%99991, i%99991)
	}
	path := filepath.Join(b.TempDir(), "r.csv")
	if err := os.WriteFile(path, []byte(text.String()), 0o600); err != nil {
		b.Fatal(err)
	}
	driver := New()
	settings, err := plugin.NewSettings(map[string]any{"file": path, "speed": 0})
	if err != nil {
		b.Fatal(err)
	}
	if _, err := driver.Configure(b.Context(), "d", settings); err != nil {
		b.Fatal(err)
	}
	b.ReportAllocs()
	scans := 0
	for b.Loop() {
		err := driver.Stream(b.Context(), func(f *plugin.Frame) error {
			scans += int(f.ScanCount)
			return nil
		})
		if err != nil {
			b.Fatal(err)
		}
	}
	if scans != b.N*rows {
		b.Fatalf("%d scans, want %d", scans, b.N*rows)
	}
	b.ReportMetric(float64(scans)/b.Elapsed().Seconds()/1e6, "Mrows/s")
}

package replay

import (
	"io"
	"math"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/parquet-go/parquet-go"

	"github.com/ampledger/ampledger/plugins/plugin"
)

// recordedRow is a scan of a shunt in codes and of two others, as a recording of the daemon would hold it.
type recordedRow struct {
	Seconds float64 `parquet:"t,snappy"`
	Code    int32   `parquet:"shunt_code,delta,snappy"`
	Volts   float64 `parquet:"hall_volts,snappy"`
	Celsius float64 `parquet:"celsius,snappy"`
}

// BenchmarkParquet plays a recording as fast as it goes, without the way through gRPC, beside the bare reading of the same columns by the library.
func BenchmarkParquet(b *testing.B) {
	const count = 500_000
	rows := make([]recordedRow, count)
	for k := range rows {
		rows[k] = recordedRow{float64(k) / 1000, int32(1000*math.Sin(float64(k)/50)) + int32(k*7919%13), math.Round(1e4*math.Sin(float64(k)/70)) / 1e4, 25 + float64(k/1000%7)}
	}
	path := filepath.Join(b.TempDir(), "r.parquet")
	save(b, path, rows, parquet.MaxRowsPerRowGroup(10_000))
	settings, err := plugin.NewSettings(map[string]any{"file": path, "speed": 0})
	if err != nil {
		b.Fatal(err)
	}
	driver := New()
	if _, err := driver.Configure(b.Context(), "d", settings); err != nil {
		b.Fatal(err)
	}
	b.ReportAllocs()
	scans, bare := 0, time.Duration(0)
	for b.Loop() {
		err := driver.Stream(b.Context(), func(f *plugin.Frame) error {
			scans += int(f.ScanCount)
			return nil
		})
		if err != nil {
			b.Fatal(err)
		}
		begun := time.Now()
		readBare(b, path)
		bare += time.Since(begun)
	}
	if scans != b.N*count {
		b.Fatalf("%d scans, want %d", scans, b.N*count)
	}
	readings := float64(3 * scans)
	b.ReportMetric(readings/(b.Elapsed()-bare).Seconds()/1e6, "Mreadings/s")
	b.ReportMetric(readings/bare.Seconds()/1e6, "bare-Mreadings/s")
}

// readBare decodes every page of a file and looks at none.
func readBare(b *testing.B, path string) {
	disk, err := os.Open(path)
	if err != nil {
		b.Fatal(err)
	}
	defer disk.Close()
	info, err := disk.Stat()
	if err != nil {
		b.Fatal(err)
	}
	file, err := parquet.OpenFile(disk, info.Size())
	if err != nil {
		b.Fatal(err)
	}
	for _, group := range file.RowGroups() {
		for _, chunk := range group.ColumnChunks() {
			pages := chunk.Pages()
			for {
				page, err := pages.ReadPage()
				if err == io.EOF {
					break
				}
				if err != nil {
					b.Fatal(err)
				}
				parquet.Release(page)
			}
			if err := pages.Close(); err != nil {
				b.Fatal(err)
			}
		}
	}
}

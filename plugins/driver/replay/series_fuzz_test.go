package replay

import (
	"errors"
	"os"
	"path/filepath"
	"testing"

	"github.com/ampledger/ampledger/plugins/plugin"
)

// FuzzParquet plays whatever the bytes are, as a foreign recording or as one of the daemon's, and wants sound columns until it ends or fails.
func FuzzParquet(f *testing.F) {
	path := filepath.Join(f.TempDir(), "r.parquet")
	saveOwn(f, path, "adc0", ownRow{100, 10, 1e18, 3, 0, number32(9)}, ownRow{101, 20, 1e18 + 10, 3, 0, nil}, ownRow{105, 5, 1e18 + 90, 4, 0, number32(-9)})
	seed(f, path)
	save(f, path, measurements())
	seed(f, path)
	f.Fuzz(func(t *testing.T, text []byte) {
		path := filepath.Join(t.TempDir(), "r.parquet")
		if err := os.WriteFile(path, text, 0o600); err != nil {
			t.Fatal(err)
		}
		settings, err := plugin.NewSettings(with{"file": path, "speed": 0})
		if err != nil {
			t.Fatal(err)
		}
		driver := New()
		if _, err := driver.Configure(t.Context(), "d", settings); err != nil {
			return
		}
		left := 1 << 20
		_ = driver.Stream(t.Context(), func(frame *plugin.Frame) error {
			for _, column := range frame.Columns {
				if n := len(column.Codes) + len(column.Values); n != int(frame.ScanCount) {
					t.Errorf("%d values in %d scans", n, frame.ScanCount)
				}
			}
			if left -= int(frame.ScanCount); left < 0 {
				return errors.New("a few bytes can promise more rows than anybody waits for")
			}
			return nil
		})
	})
}

func seed(f *testing.F, path string) {
	text, err := os.ReadFile(path)
	if err != nil {
		f.Fatal(err)
	}
	f.Add(text)
	f.Add(text[:len(text)/2])
}

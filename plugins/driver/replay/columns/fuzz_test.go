package columns

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/parquet-go/parquet-go"

	"github.com/ampledger/ampledger/plugins/driver/replay/recorded"
	"github.com/ampledger/ampledger/plugins/plugin"
)

// small is few rows of a few types: seeds that a fuzzer can change.
type small struct {
	T float64  `parquet:"t"`
	N int64    `parquet:"n,delta,zstd"`
	C *int32   `parquet:"c,optional"`
	D *float64 `parquet:"d,optional,dict,snappy"`
}

func smallFile(t testing.TB, options ...parquet.WriterOption) []byte {
	rows := make([]small, 20)
	for k := range rows {
		rows[k].T, rows[k].N = float64(k), int64(k*k)
		if code := int32(k); k%4 != 0 {
			rows[k].C, rows[k].D = &code, &rows[k%3].T
		}
	}
	text, err := os.ReadFile(save(t, rows, 2, options...))
	if err != nil {
		t.Fatal(err)
	}
	return text
}

// FuzzOpen reads whatever the bytes are as a file, all columns that can be read, and wants no more than an error.
func FuzzOpen(f *testing.F) {
	text, err := (&recorded.Head{Device: "d", Description: &plugin.Description{Inputs: []*plugin.Input{{Name: "t", Unit: "V"}}}}).Text()
	if err != nil {
		f.Fatal(err)
	}
	for _, options := range [][]parquet.WriterOption{{parquet.DataPageVersion(1)}, {parquet.DataPageVersion(2)}, {parquet.KeyValueMetadata(recorded.Key, text)}} {
		good := smallFile(f, options...)
		f.Add(good)
		f.Add(good[:len(good)/2])
	}
	f.Fuzz(func(t *testing.T, text []byte) {
		path := filepath.Join(t.TempDir(), "r.parquet")
		if err := os.WriteFile(path, text, 0o600); err != nil {
			t.Fatal(err)
		}
		file, err := Open(path)
		if err != nil {
			return
		}
		defer file.Close()
		var names []string
		for i, name := range file.Header() {
			if file.Numeric(i) == nil {
				names = append(names, name)
			}
		}
		if len(names) == 0 {
			return
		}
		left := 1 << 20 // a few bytes can promise more rows than anybody waits for
		_ = all(file, names, 1000, func(values []Values, rows int, r *Reader) error {
			for i := range values {
				_, row, err := values[i].Floats(nil)
				if _, _, timeErr := values[i].Nanos(nil); err == nil && timeErr == nil {
					continue
				}
				_ = r.Fault(row, i, errEnd).Error()
			}
			if left -= rows; left < 0 {
				return errEnd
			}
			return nil
		})
	})
}

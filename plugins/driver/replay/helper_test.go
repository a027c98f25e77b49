package replay

import (
	"context"
	"os"
	"testing"

	"go.uber.org/goleak"
	"google.golang.org/protobuf/proto"

	"github.com/ampledger/ampledger/plugins/plugin"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// with is short for what stands under `with:`.
type with = map[string]any

// write makes r.csv in a folder of its own the process's working directory.
func write(t *testing.T, text string) {
	t.Helper()
	t.Chdir(t.TempDir())
	if err := os.WriteFile("r.csv", []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
}

func configure(t *testing.T, settings with) (*Driver, *plugin.Description, error) {
	t.Helper()
	if _, given := settings["file"]; !given {
		settings["file"] = "r.csv"
	}
	decodable, err := plugin.NewSettings(settings)
	if err != nil {
		t.Fatal(err)
	}
	driver := New()
	description, err := driver.Configure(t.Context(), "device", decodable)
	return driver, description, err
}

func mustConfigure(t *testing.T, settings with) (*Driver, *plugin.Description) {
	t.Helper()
	driver, description, err := configure(t, settings)
	if err != nil {
		t.Fatal(err)
	}
	return driver, description
}

// play gives the frames of a stream and what ended it.
func play(ctx context.Context, driver *Driver) (frames []*plugin.Frame, err error) {
	err = driver.Stream(ctx, func(f *plugin.Frame) error {
		frames = append(frames, proto.CloneOf(f))
		return nil
	})
	return frames, err
}

// scanned is one scan of one input.
type scanned struct {
	Sequence uint64
	At, Wall int64
	Value    float64
	Absent   bool
}

// scans takes frames apart, however they were cut.
func scans(frames []*plugin.Frame, input int) (all []scanned) {
	for _, f := range frames {
		column, absent := f.Columns[input], map[uint32]bool{}
		for _, i := range column.AbsentIndices {
			absent[i] = true
		}
		for i := range f.ScanCount {
			one := scanned{Sequence: f.FirstSequence + uint64(i), Absent: absent[i]}
			offset := int64(i) * f.PeriodNanos
			if f.PeriodNanos == 0 {
				offset = f.OffsetNanos[i]
			}
			one.At, one.Wall = f.FirstMonotonicNanos+offset, f.FirstWallNanos+offset
			switch {
			case one.Absent:
			case len(column.Codes) > 0:
				one.Value = float64(column.Codes[i])
			default:
				one.Value = column.Values[i]
			}
			all = append(all, one)
		}
	}
	return all
}

func values(all []scanned) []float64 {
	list := make([]float64, len(all))
	for i, one := range all {
		list[i] = one.Value
	}
	return list
}

package columns

import (
	"bytes"
	"errors"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/parquet-go/parquet-go"
	"go.uber.org/goleak"

	"github.com/ampledger/ampledger/plugins/driver/replay/table"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// record has a column of every type that is a number, and some that are not.
type record struct {
	Seconds float64   `parquet:"seconds"`
	Whole   int32     `parquet:"whole,delta"`
	Long    int64     `parquet:"long,dict"`
	Short   uint32    `parquet:"short"`
	Single  float32   `parquet:"single,split"`
	Real    float64   `parquet:"real,dict,zstd"`
	Maybe   *float64  `parquet:"maybe,optional"`
	Code    *int32    `parquet:"code,optional,dict,snappy"`
	Millis  time.Time `parquet:"millis,timestamp(millisecond)"`
	Nanos   int64     `parquet:"nanos,timestamp(nanosecond)"`
	Inside  struct {
		Value float64 `parquet:"value"`
	} `parquet:"inside"`
	Text  string    `parquet:"text"`
	Money int64     `parquet:"money,decimal(2:10)"`
	Flag  bool      `parquet:"flag"`
	List  []float64 `parquet:"list,list"`
}

func records(count int) (all []record) {
	for k := range count {
		r := record{Seconds: float64(k) / 10, Whole: int32(-k), Long: int64(k%7) << 40, Short: math.MaxUint32 - uint32(k), Single: float32(k) / 3,
			Real: float64(k%5) / 7, Millis: time.UnixMilli(int64(k)).UTC(), Nanos: int64(k) + 1e18, Text: "x", Money: 5, List: []float64{1, 2}}
		r.Inside.Value = math.Float64frombits(0x7ff8_0000_0000_0000 + uint64(k))
		if k%3 != 0 {
			r.Maybe = &r.Seconds
		}
		if k%100 < 50 { // whole pages without a value
			code := int32(k % 9)
			r.Code = &code
		}
		all = append(all, r)
	}
	return all
}

// save writes a file.
func save[T any](t testing.TB, rows []T, groups int, options ...parquet.WriterOption) string {
	t.Helper()
	var out bytes.Buffer
	w := parquet.NewGenericWriter[T](&out, options...)
	for i := range groups {
		if _, err := w.Write(rows[len(rows)*i/groups : len(rows)*(i+1)/groups]); err != nil {
			t.Fatal(err)
		}
		if err := w.Flush(); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "r.parquet")
	if err := os.WriteFile(path, out.Bytes(), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

func open(t testing.TB, path string) *File {
	t.Helper()
	f, err := Open(path)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := f.Close(); err != nil {
			t.Error(err)
		}
	})
	return f
}

// all reads columns to the end, or to a fault.
func all(f *File, names []string, most int, take func(values []Values, rows int, r *Reader) error) error {
	var places []int
	for _, n := range names {
		places = append(places, slices.Index(f.Header(), n))
	}
	r := f.Read(places)
	defer r.Close()
	for {
		values, rows, err := r.Next(most)
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err == nil {
			err = take(values, rows, r)
		}
		if err != nil {
			return err
		}
	}
}

func TestEveryTypeOfNumber(t *testing.T) {
	const count = 1000
	want := records(count)
	names := []string{"whole", "long", "short", "single", "real", "maybe", "code", "inside.value"}
	for name, options := range map[string][]parquet.WriterOption{
		"pages of the first version":  {parquet.DataPageVersion(1)},
		"pages of the second version": {parquet.DataPageVersion(2)},
		"short pages":                 {parquet.PageBufferSize(200)},
	} {
		for _, most := range []int{1, 7, 4096} {
			f := open(t, save(t, want, 3, options...))
			row := 0
			err := all(f, names, most, func(values []Values, rows int, _ *Reader) error {
				got := make([][]float64, len(values))
				for i := range values {
					var err error
					if got[i], _, err = values[i].Floats(nil); err != nil {
						return err
					}
				}
				for k := range rows {
					checkRecord(t, want[row], got, k, values)
					row++
				}
				return nil
			})
			if err != nil || row != count || f.Rows() != count {
				t.Errorf("%s: %d rows, %v, want %d", name, row, err, count)
			}
		}
	}
}

func checkRecord(t *testing.T, r record, got [][]float64, k int, values []Values) {
	t.Helper()
	want := []float64{float64(r.Whole), float64(r.Long), float64(r.Short), float64(r.Single), r.Real, 0, 0, r.Inside.Value}
	if r.Maybe != nil {
		want[5] = *r.Maybe
	}
	if r.Code != nil {
		want[6] = float64(*r.Code)
	}
	for i := range want {
		absent := (i == 5 && r.Maybe == nil) || (i == 6 && r.Code == nil)
		if math.Float64bits(got[i][k]) != math.Float64bits(want[i]) || (values[i].Absent != nil && values[i].Absent[k]) != absent {
			t.Fatalf("column %d of %+v is %v", i, r, got[i][k])
		}
	}
}

func TestTimes(t *testing.T) {
	f := open(t, save(t, records(100), 1))
	for name, want := range map[string]func(k int64) int64{
		"seconds": func(k int64) int64 { return k * 1e8 }, "whole": func(k int64) int64 { return -k * 1e9 }, "single": func(k int64) int64 {
			return int64(math.Round(float64(float32(k)/3) * 1e9))
		}, "millis": func(k int64) int64 { return k * 1e6 }, "nanos": func(k int64) int64 { return k + 1e18 },
	} {
		row := int64(0)
		err := all(f, []string{name}, 30, func(values []Values, rows int, _ *Reader) error {
			got, _, err := values[0].Nanos(nil)
			for _, at := range got {
				if at != want(row) {
					t.Errorf("%s: row %d is at %d, want %d", name, row, at, want(row))
				}
				row++
			}
			return err
		})
		if err != nil || row != 100 {
			t.Errorf("%s: %d rows, %v", name, row, err)
		}
	}
}

func TestValuesThatAreNone(t *testing.T) {
	type timed struct {
		T float64  `parquet:"t"`
		O *float64 `parquet:"o,optional"`
		I int64    `parquet:"i"`
		U uint32   `parquet:"u"`
		W uint64   `parquet:"w"`
	}
	five := 5.0
	rows := make([]timed, 20)
	for k := range rows {
		rows[k].O = &five
	}
	rows[12] = timed{math.NaN(), nil, 1<<53 + 1, math.MaxUint32, math.MaxUint64}
	f := open(t, save(t, rows, 2))
	for _, c := range []struct {
		column string
		time   bool
		want   string
		is     error
	}{
		{"t", true, `: row 13: column "t": NaN is no time in seconds`, table.ErrNoTime},
		{"o", true, `: row 13: column "o": is absent, every row needs a time`, ErrNoTime},
		{"i", true, `: row 13: column "i": 9007199254740993 is beyond ±3000000000 s, times are in seconds`, table.ErrTimeBeyond},
		{"u", true, `: row 13: column "u": 4294967295 is beyond ±3000000000 s, times are in seconds`, table.ErrTimeBeyond},
		{"i", false, `: row 13: column "i": 9007199254740993 is a whole number beyond 2^53, which a double cannot hold exactly`, ErrInexact},
		{"w", false, `: row 13: column "w": 18446744073709551615 is a whole number beyond 2^53, which a double cannot hold exactly`, ErrInexact},
	} {
		good := 0
		err := all(f, []string{c.column}, 4096, func(values []Values, _ int, r *Reader) (err error) {
			var row int
			if c.time {
				_, row, err = values[0].Nanos(nil)
			} else {
				_, row, err = values[0].Floats(nil)
			}
			if good += row; err != nil {
				return r.Fault(row, 0, err)
			}
			return nil
		})
		if !errors.Is(err, c.is) || !strings.HasSuffix(err.Error(), c.want) || good != 2 {
			t.Errorf("error %v after %d rows of its row group, want …%s", err, good, c.want)
		}
	}
}

func TestColumnsThatAreNoNumbers(t *testing.T) {
	f := open(t, save(t, records(1), 1))
	for name, want := range map[string]string{
		"text": "holds text or bytes, no numbers", "money": "holds decimals: write them as DOUBLE", "flag": "holds BOOLEAN, no numbers",
		"list.list.element": "holds lists, no numbers", "code": "",
	} {
		err := f.Numeric(slices.Index(f.Header(), name))
		if (want == "") != (err == nil) || (err != nil && !strings.HasSuffix(err.Error(), `column "`+name+`": `+want)) {
			t.Errorf("%s: %v, want %s", name, err, want)
		}
	}
	if f.Head() != nil {
		t.Error("it is taken for a recording of the daemon")
	}
}

func TestFilesThatAreNone(t *testing.T) {
	good, err := os.ReadFile(save(t, records(100), 2))
	if err != nil {
		t.Fatal(err)
	}
	for name, c := range map[string]struct {
		text []byte
		is   error
	}{
		"empty":                     {nil, ErrForeign},
		"a table":                   {[]byte("time_s,current_a\n0,1\n"), ErrForeign},
		"cut off early":             {good[:4], ErrCutOff},
		"cut off":                   {good[:len(good)-1], ErrCutOff},
		"no footer but its length":  {[]byte("PAR1\x08\x00\x00\x00PAR1"), ErrDamaged},
		"the longest footer":        {append(slices.Clone(good[:len(good)-8]), "\xff\xff\xff\xffPAR1"...), ErrDamaged},
		"a footer that is no such":  {append(slices.Clone(good[:100]), "\x20\x00\x00\x00PAR1"...), ErrDamaged},
		"a recording with no rows?": {[]byte("PAR1\x00\x00\x00\x00PAR1"), ErrDamaged},
	} {
		path := filepath.Join(t.TempDir(), "r.parquet")
		if err := os.WriteFile(path, c.text, 0o600); err != nil {
			t.Fatal(err)
		}
		_, err := Open(path)
		if !errors.Is(err, c.is) || !strings.HasPrefix(err.Error(), path) {
			t.Errorf("%s: %v, want %v", name, err, c.is)
		}
		if name == "the longest footer" && !strings.HasSuffix(err.Error(), "its table of contents is longer than the file") {
			t.Errorf("%s: %v, want that four gigabytes are not asked for", name, err)
		}
	}
	if _, err := Open(t.TempDir()); err == nil || !strings.HasSuffix(err.Error(), "is no regular file") {
		t.Errorf("a folder: %v", err)
	}
	if _, err := Open(filepath.Join(t.TempDir(), "r.parquet")); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("none: %v", err)
	}
}

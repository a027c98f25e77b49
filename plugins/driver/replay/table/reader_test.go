package table

import (
	"errors"
	"io"
	"math"
	"os"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

// readAll gives the whole table as text, and the fault it ended with.
func readAll(text string) (rows [][]string, err error) {
	r, err := NewReader(strings.NewReader(text), "f.csv")
	if err != nil {
		return nil, err
	}
	rows = append(rows, r.Header())
	for {
		cells, err := r.Next()
		if errors.Is(err, io.EOF) {
			return rows, nil
		}
		if err != nil {
			return rows, err
		}
		row := make([]string, len(cells))
		for i, cell := range cells {
			row[i] = string(cell)
		}
		rows = append(rows, row)
	}
}

func TestReader(t *testing.T) {
	for _, c := range []struct {
		name, text string
		want       [][]string
	}{
		{"plain", "t,a\n1,2\n", [][]string{{"t", "a"}, {"1", "2"}}},
		{"no end of line at the end", "t,a\n1,2", [][]string{{"t", "a"}, {"1", "2"}}},
		{"carriage returns", "t,a\r\n1,2\r\n", [][]string{{"t", "a"}, {"1", "2"}}},
		{"byte-order mark", "\xef\xbb\xbft,a\n1,2\n", [][]string{{"t", "a"}, {"1", "2"}}},
		{"byte-order mark before a comment", "\xef\xbb\xbf# x\nt\n1\n", [][]string{{"t"}, {"1"}}},
		{"comments and blank lines anywhere", "# \"x\n\nt,a\n# y\n1,2\n \t\n# z\n3,4\n#", [][]string{{"t", "a"}, {"1", "2"}, {"3", "4"}}},
		{"empty cells", "t,a,b\n1,,\n,,\n", [][]string{{"t", "a", "b"}, {"1", "", ""}, {"", "", ""}}},
		{"blanks around cells", " t ,\ta\n 1 , 2\t\n", [][]string{{"t", "a"}, {"1", "2"}}},
		{"quotes", "t,\"a, \"\"b\"\"\"\n1, \" # x \" \n", [][]string{{"t", `a, "b"`}, {"1", " # x "}}},
		{"empty quotes", "t,a\n\"\",\"\"\n", [][]string{{"t", "a"}, {"", ""}}},
		{"a quote inside a cell is itself", "t,a\n1,5\" pipe\n", [][]string{{"t", "a"}, {"1", `5" pipe`}}},
		{"columns without a name", ",a,\n1,2,\n", [][]string{{"", "a", ""}, {"1", "2", ""}}},
		{"header only", "t,a\n", [][]string{{"t", "a"}}},
	} {
		t.Run(c.name, func(t *testing.T) {
			got, err := readAll(c.text)
			if err != nil {
				t.Fatal(err)
			}
			if diff := cmp.Diff(c.want, got); diff != "" {
				t.Errorf("table (-want +got):\n%s", diff)
			}
		})
	}
}

func TestReaderFaults(t *testing.T) {
	for _, c := range []struct {
		name, text, want string
		cause            error
		rows             int // with the header, before the fault
	}{
		{"empty", "", "f.csv: there is no header, the file is empty or all comment", ErrEmpty, 0},
		{"comment only", "# x\n\n", "f.csv: there is no header, the file is empty or all comment", ErrEmpty, 0},
		{"same name twice", "# x\nt,a,a\n", `f.csv:2: two columns are named "a", rename one of them`, nil, 0},
		{"header not UTF-8", "t,\xff\n", "f.csv:1: the header is not UTF-8", ErrEncoding, 0},
		{"header with an open quote", "t,\"a\n", "f.csv:1: a quote is opened and not closed on its line", ErrOpenQuote, 0},
		{"too few cells", "t,a\n1,2\n3\n", "f.csv:3: 1 cell where the header has 2 columns", nil, 2},
		{"too many cells", "t\n1\n\n2,3\n", "f.csv:4: 2 cells where the header has 1 column", nil, 2},
		{"open quote", "t,a\n1,\"2\n3,4\"\n", "f.csv:2: a quote is opened and not closed on its line", ErrOpenQuote, 1},
		{"open quote after a doubled one", "t\n\"a\"\"\n", "f.csv:2: a quote is opened and not closed on its line", ErrOpenQuote, 1},
		{"after the quote", "t,a\n1,\"2\"3\n", "f.csv:2: text follows a closing quote, a quote within quotes is written twice", ErrAfterQuote, 1},
		{"long line", "t\n1\n" + strings.Repeat("1", MaxLine+1), "f.csv:3: the line is longer than 1048576 bytes", ErrLineTooLong, 2},
		{"endless line", "t\n1\n" + strings.Repeat("1", 3*MaxLine), "f.csv:3: the line is longer than 1048576 bytes", ErrLineTooLong, 2},
		{"endless comment", "#" + strings.Repeat("1", 3*MaxLine) + "\nt\n", "f.csv:1: the line is longer than 1048576 bytes", ErrLineTooLong, 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			rows, err := readAll(c.text)
			if err == nil || err.Error() != c.want {
				t.Errorf("error %v, want %s", err, c.want)
			}
			if c.cause != nil && !errors.Is(err, c.cause) {
				t.Errorf("error %v is not %v", err, c.cause)
			}
			if len(rows) != c.rows {
				t.Errorf("%d rows before the fault, want %d", len(rows), c.rows)
			}
		})
	}
}

func TestLongestLine(t *testing.T) {
	for _, end := range []string{"\n", "\r\n", ""} {
		rows, err := readAll("t\n" + strings.Repeat("1", MaxLine) + end)
		if err != nil || len(rows) != 2 || len(rows[1][0]) != MaxLine {
			t.Errorf("end %q: %d rows, error %v", end, len(rows), err)
		}
	}
}

func TestFaultNamesItsPlace(t *testing.T) {
	r, err := NewReader(strings.NewReader("# x\nt,current_a\n1,abc\n"), "file.csv")
	if err != nil {
		t.Fatal(err)
	}
	cells, err := r.Next()
	if err != nil {
		t.Fatal(err)
	}
	_, err = ParseNumber(cells[1])
	err = r.Fault(1, err)
	if want := `file.csv:3: column "current_a": "abc" is no number`; err.Error() != want {
		t.Errorf("error %q, want %q", err, want)
	}
	at, ok := errors.AsType[*Error](err)
	if !ok || at.Line != r.Line() || !errors.Is(err, ErrNoNumber) {
		t.Errorf("error %#v does not give its place and cause", err)
	}
}

func TestOpen(t *testing.T) {
	t.Chdir(t.TempDir())
	if err := os.WriteFile("ok.csv", []byte("t\n1\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile("empty.csv", nil, 0o600); err != nil {
		t.Fatal(err)
	}
	for path, want := range map[string]string{
		"none.csv":  "none.csv: no such file or directory",
		".":         ".: this is a folder, a recording is a file",
		"/dev/null": "/dev/null: this is no regular file, a recording is read twice",
		"empty.csv": "empty.csv: there is no header, the file is empty or all comment",
	} {
		if _, err := Open(path); err == nil || err.Error() != want {
			t.Errorf("Open(%q): error %v, want %s", path, err, want)
		}
	}
	file, err := Open("ok.csv")
	if err != nil {
		t.Fatal(err)
	}
	if err := file.Close(); err != nil {
		t.Error(err)
	}
}

// quote writes a cell so that it reads as it was.
func quote(cell string, always bool) string {
	if always || cell != strings.Trim(cell, " \t") || strings.ContainsAny(cell, ",\"#\r") {
		return `"` + strings.ReplaceAll(cell, `"`, `""`) + `"`
	}
	return cell
}

func TestWrittenTableReadsEqual(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		cell := rapid.StringMatching(`[a-c0-9 ,"#\t.é-]{0,6}`)
		columns := rapid.IntRange(1, 5).Draw(t, "columns")
		header := rapid.SliceOfNDistinct(rapid.StringMatching(`[a-z ,"#é]{1,4}`), columns, columns, rapid.ID[string]).Draw(t, "header")
		want := append([][]string{header}, rapid.SliceOfN(rapid.SliceOfN(cell, columns, columns), 0, 20).Draw(t, "rows")...)
		end := rapid.SampledFrom([]string{"\n", "\r\n"}).Draw(t, "end")
		var text strings.Builder
		for _, row := range want {
			if rapid.Bool().Draw(t, "comment") {
				text.WriteString("# \"," + end + end)
			}
			for i, cell := range row {
				if i > 0 {
					text.WriteByte(',')
				}
				// A row of one empty cell would be a blank line.
				text.WriteString(quote(cell, columns == 1 || rapid.Bool().Draw(t, "quotes")))
			}
			text.WriteString(end)
		}
		got, err := readAll(text.String())
		if err != nil {
			t.Fatalf("%v in\n%s", err, text.String())
		}
		if diff := cmp.Diff(want, got); diff != "" {
			t.Fatalf("table (-want +got):\n%s", diff)
		}
	})
}

func FuzzReader(f *testing.F) {
	f.Add("t,a\n1,2\n")
	f.Fuzz(func(t *testing.T, text string) {
		rows, err := readAll(text)
		if err != nil {
			if _, ok := errors.AsType[*Error](err); !ok {
				t.Fatalf("error without a place: %v", err)
			}
			return
		}
		var again strings.Builder
		for _, row := range rows {
			for i, cell := range row {
				if i > 0 {
					again.WriteByte(',')
				}
				again.WriteString(quote(cell, true))
			}
			again.WriteByte('\n')
		}
		got, err := readAll(again.String())
		if again.Len() < MaxLine && err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(rows, got); diff != "" && again.Len() < MaxLine {
			t.Fatalf("written and read again (-first +second):\n%s", diff)
		}
	})
}

func TestReadingARowAllocatesNothing(t *testing.T) {
	r, err := NewReader(strings.NewReader("t,a,b\n"+strings.Repeat("12.345,-0.07105,\"2.5\"\n", 2000)), "f.csv")
	if err != nil {
		t.Fatal(err)
	}
	sum := 0.0
	allocations := testing.AllocsPerRun(1000, func() {
		cells, err := r.Next()
		if err != nil {
			t.Fatal(err)
		}
		nanos, _ := ParseSeconds(cells[0])
		value, _ := ParseNumber(cells[1])
		sum += value + float64(nanos)
	})
	if allocations != 0 || math.IsNaN(sum) {
		t.Errorf("%v allocations a row, want none", allocations)
	}
}

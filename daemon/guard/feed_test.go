package guard

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"testing"

	"github.com/ampledger/ampledger/daemon/scan"
)

const millisecond = 1_000_000 // ns

// constant is n good readings of one current at 1 kHz.
func constant(amperes float64, n int) *scan.Readings {
	r := &scan.Readings{Clock: scan.Clock{Period: millisecond}}
	for range n {
		r.Amperes = append(r.Amperes, amperes)
	}
	settle(r)
	return r
}

// script reads words as readings 100 ms apart, the first with sequence 0: a number of amperes, followed by
//
//	r  at the rail          o  beyond the sensor's range
//	x  no value             n  not finite
//	a  no supply reading    t  time repeated (a flag: the clock is left as it is)
//
// A word such as +2s lets the clock jump ahead before the next reading.
func script(t testing.TB, text string) *scan.Readings {
	marks := map[byte]scan.Quality{'r': scan.Saturated, 'o': scan.OutOfRange, 'x': scan.Missing, 'n': scan.NotFinite,
		'a': scan.AuxiliaryMissing, 't': scan.TimeRepeated}
	r := &scan.Readings{}
	at := int64(0)
	for word := range strings.FieldsSeq(text) {
		if strings.HasPrefix(word, "+") {
			at += nanos(parse(t, strings.Trim(word, "+s")))
			continue
		}
		quality := marks[word[len(word)-1]]
		if quality != 0 {
			word = word[:len(word)-1]
		}
		amperes := math.NaN()
		if word != "" {
			amperes = parse(t, word)
		}
		r.Amperes, r.Quality, r.Offsets = append(r.Amperes, amperes), append(r.Quality, quality), append(r.Offsets, at)
		at += 100 * millisecond
	}
	settle(r)
	return r
}

func parse(t testing.TB, text string) float64 {
	x, err := strconv.ParseFloat(text, 64)
	if err != nil {
		t.Fatal(err)
	}
	return x
}

// settle sets what the sensor stage sums up.
func settle(r *scan.Readings) {
	r.Usable, r.Minimum, r.Maximum, r.Causes = 0, math.Inf(1), math.Inf(-1), 0
	for k, amperes := range r.Amperes {
		r.Causes |= r.QualityAt(k)
		if r.QualityAt(k) == 0 {
			r.Usable++
			r.Minimum, r.Maximum = min(r.Minimum, amperes), max(r.Maximum, amperes)
		}
	}
}

// must makes a guard whose settings are known to be right; names may be left out.
func must(t testing.TB, settings ...Setting) *Guard {
	for i := range settings {
		if settings[i].Name == "" {
			settings[i].Name = fmt.Sprint("element ", i)
		}
	}
	g, err := New(settings)
	if err != nil {
		t.Fatal(err)
	}
	return g
}

// collect applies the readings and gives the changes.
func collect(g *Guard, frames ...*scan.Readings) (changes []Change) {
	for _, r := range frames {
		g.Apply(r, func(c Change) { changes = append(changes, c) })
	}
	return changes
}

// story is the changes as state@sequence.
func story(changes []Change) string {
	var words []string
	for _, c := range changes {
		words = append(words, fmt.Sprintf("%v@%d", c.State, c.At.Sequence))
	}
	return strings.Join(words, " ")
}

// row is one line of a table: what a single element makes of a script.
type row struct {
	name    string
	setting Setting
	script  string
	story   string
}

func runTable(t *testing.T, rows []row) {
	for _, row := range rows {
		t.Run(row.name, func(t *testing.T) {
			if got := story(collect(must(t, row.setting), script(t, row.script))); got != row.story {
				t.Errorf("%v\n  sees  %s\n  tells %s\n  want  %s", row.setting, row.script, got, row.story)
			}
		})
	}
}

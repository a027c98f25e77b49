package config

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// spot is a key of full.yaml, found by looking at the text alone: a slow and obvious second way to its position.
type spot struct {
	key          string
	line, column int // from 1
	start        int // in the text
}

// spots finds each word that is followed by a colon and a space or line end.
func spots(text string) []spot {
	var all []spot
	offset := 0
	for i, line := range strings.SplitAfter(text, "\n") {
		for at := 0; at < len(line); at++ {
			if line[at] != ':' || at+1 < len(line) && line[at+1] != ' ' && line[at+1] != '\n' {
				continue
			}
			start := strings.LastIndexAny(line[:at], " {") + 1
			all = append(all, spot{line[start:at], i + 1, start + 1, offset + start})
		}
		offset += len(line)
	}
	return all
}

// ownSettings are keys below `with:`, which belong to plugins.
var ownSettings = []string{"file", "speed", "loop", "columns", "serial", "window_seconds", "zero"}

func schemaSpots(t interface{ Fatal(...any) }, text string) []spot {
	all := slices.DeleteFunc(spots(text), func(s spot) bool {
		return slices.Contains(ownSettings, s.key)
	})
	if len(all) < 100 {
		t.Fatal("keys are not found in full.yaml: ", len(all))
	}
	return all
}

// TestEachMisspelledKeyIsFoundWhereItStands misspells every key of full.yaml in turn. Exactly one fault must come, at the key's line
// and column, with the right key suggested: nothing that follows from it.
func TestEachMisspelledKeyIsFoundWhereItStands(t *testing.T) {
	full := withoutFirstComment(string(text(t, cases+"/good/full.yaml")))
	for _, s := range schemaSpots(t, full) {
		wrong := full[:s.start] + "x" + full[s.start:]
		_, err := Parse([]byte(wrong), "f", "")
		want := fmt.Sprintf("f:%d:%d: ", s.line, s.column)
		faults := onlyFaultsOf(err)
		if len(faults) == 0 || !strings.HasPrefix(faults[0].Error(), want) || !strings.HasSuffix(faults[0].Text, "did you mean "+s.key+"?") {
			t.Errorf("x%s: want %s…, got %v", s.key, want, err)
		}
		if len(faults) > 1 {
			t.Errorf("x%s: more than one fault:\n%v", s.key, err)
		}
	}
}

func withoutFirstComment(text string) string {
	_, rest, _ := strings.Cut(text, "\n")
	return rest
}

func onlyFaultsOf(err error) Faults {
	var faults Faults
	errors.As(err, &faults)
	return faults
}

// TestManyFaultsAreAllFound misspells any number of keys that hold no others at once: there are as many faults, in order of position.
func TestManyFaultsAreAllFound(t *testing.T) {
	full := withoutFirstComment(string(text(t, cases+"/good/full.yaml")))
	leaves := slices.DeleteFunc(schemaSpots(t, full), func(s spot) bool {
		return !strings.Contains(s.key, "_amperes") && !strings.Contains(s.key, "_celsius") && !strings.Contains(s.key, "_kelvin")
	})
	rapid.Check(t, func(t *rapid.T) {
		chosen := rapid.SliceOfNDistinct(rapid.IntRange(0, len(leaves)-1), 1, 12, rapid.ID).Draw(t, "keys")
		slices.Sort(chosen)
		wrong, at := []byte{}, 0
		for _, i := range chosen {
			wrong = append(append(wrong, full[at:leaves[i].start]...), 'x')
			at = leaves[i].start
		}
		_, err := Parse(append(wrong, full[at:]...), "f", "")
		faults := onlyFaultsOf(err)
		if len(faults) != len(chosen) {
			t.Fatalf("%d faults for %d wrong keys:\n%v", len(faults), len(chosen), err)
		}
		for i, k := range chosen {
			if faults[i].Line != leaves[k].line {
				t.Fatalf("fault %d is in line %d, not %d", i, faults[i].Line, leaves[k].line)
			}
		}
	})
}

// FuzzParse: whatever the text, there is an answer, and the faults are in the form that is promised.
func FuzzParse(f *testing.F) {
	f.Fuzz(func(t *testing.T, text []byte) {
		c, err := Parse(text, "f", "/x")
		if err == nil {
			Explain(c, nil)
			return
		}
		faults := onlyFaultsOf(err)
		lines := strings.Count(strings.ReplaceAll(string(text), "\r\n", "\n"), "\n") + strings.Count(string(text), "\r") + 1
		for i, fault := range faults {
			switch {
			case strings.ContainsAny(fault.Error(), "\n\r"):
				t.Errorf("more than one line: %q", fault.Error())
			case fault.Line < 1 || fault.Column < 1 || fault.Line > lines+1:
				t.Errorf("outside the text: %v", fault)
			case i > 0 && (fault.Line < faults[i-1].Line || fault.Line == faults[i-1].Line && fault.Column < faults[i-1].Column):
				t.Errorf("out of order: %v", faults)
			}
		}
		if c != nil || len(faults) == 0 {
			t.Errorf("neither read nor refused: %v", err)
		}
	})
}

package config

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"
)

// Fault is one thing that is wrong with a configuration file.
type Fault struct {
	File   string // as it was given to Load or Parse
	Line   int    // from 1; 0 = the file as a whole
	Column int    // in characters, from 1
	Path   string // of the value, such as conductors[0].channels[1].shunt.gain; empty = the file as a whole
	Text   string // what is wrong and what to do about it
}

// Error gives the fault on one line, in the form editors can jump to: pack.yaml:14:9: conductors[0].name: text.
func (f Fault) Error() string {
	var b strings.Builder
	b.WriteString(f.File)
	if f.Line > 0 {
		fmt.Fprintf(&b, ":%d:%d", f.Line, f.Column)
	}
	b.WriteString(": ")
	if f.Path != "" {
		b.WriteString(f.Path + ": ")
	}
	b.WriteString(f.Text)
	return b.String()
}

// Faults are all faults of one file, in order of position.
type Faults []Fault

// Error gives one line for each fault.
func (f Faults) Error() string {
	lines := make([]string, len(f))
	for i, fault := range f {
		lines[i] = fault.Error()
	}
	return strings.Join(lines, "\n")
}

// Unwrap gives the single faults, for errors.As.
func (f Faults) Unwrap() []error {
	all := make([]error, len(f))
	for i, fault := range f {
		all[i] = fault
	}
	return all
}

func (f Faults) sort() {
	slices.SortStableFunc(f, func(a, b Fault) int {
		return cmp.Or(cmp.Compare(a.Line, b.Line), cmp.Compare(a.Column, b.Column))
	})
}

// asError gives nil for no faults, which a Faults of length zero is not.
func (f Faults) asError() error {
	if len(f) == 0 {
		return nil
	}
	f.sort()
	return f
}

// place is a position in the file, both from 1.
type place struct{ line, column int }

const quotedLimit = 48 // characters of a file's text that are repeated in a message

// quoted repeats text of the file in a message: on one line and not at any length.
func quoted(text string) string {
	if runes := []rune(text); len(runes) > quotedLimit {
		text = string(runes[:quotedLimit]) + "…"
	}
	return strconv.Quote(text)
}

// segment is a key as it stands in a path: as it is if it looks like one.
func segment(key string) string {
	odd := strings.ContainsFunc(key, func(r rune) bool {
		return r != '_' && r != '-' && (r < '0' || r > '9') && (r < 'a' || r > 'z') && (r < 'A' || r > 'Z')
	})
	if odd || key == "" || len(key) > quotedLimit {
		return quoted(key)
	}
	return key
}

func join(path, key string) string {
	if path == "" {
		return segment(key)
	}
	return path + "." + segment(key)
}

func item(path string, i int) string { return path + "[" + strconv.Itoa(i) + "]" }

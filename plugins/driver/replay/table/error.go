package table

import (
	"fmt"
	"strings"
)

// Error is a fault at a place of a recording.
type Error struct {
	Name     string // of the file, as it was opened
	Line     int    // counted from 1; 0 = the whole file
	Column   string // name of the column, which may be empty, if InColumn
	InColumn bool   // the fault is in one column
	Err      error
}

// Error gives the place as file:line, the column if there is one, and the fault.
func (e *Error) Error() string {
	var text strings.Builder
	text.WriteString(e.Name)
	if e.Line > 0 {
		fmt.Fprintf(&text, ":%d", e.Line)
	}
	if e.InColumn {
		fmt.Fprintf(&text, ": column %q", e.Column)
	}
	fmt.Fprintf(&text, ": %v", e.Err)
	return text.String()
}

// Unwrap gives the fault without its place.
func (e *Error) Unwrap() error { return e.Err }

// excerpt quotes a cell, shortened if it is long.
func excerpt(cell []byte) string {
	const most = 40
	if len(cell) > most {
		return fmt.Sprintf("%q…", cell[:most])
	}
	return fmt.Sprintf("%q", cell)
}

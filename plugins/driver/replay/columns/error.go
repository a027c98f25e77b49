package columns

import (
	"errors"
	"fmt"
	"strings"

	"github.com/ampledger/ampledger/plugins/driver/replay/recorded"
)

// Faults of a file, found by errors.Is.
var (
	ErrForeign = errors.New("is no Parquet file")
	ErrCutOff  = fmt.Errorf("is cut off or still being written: Parquet's table of contents is missing; a recording whose name ends in %s "+
		"is recovered by the daemon at its start, or by `ampledger record recover`", recorded.OpenEnding)
	ErrDamaged = errors.New("is damaged")
)

// Error is a fault at a place of a recording.
type Error struct {
	Name   string // of the file, as it was opened
	Row    int64  // counted from 1; 0 = the whole file
	Column string // empty = no single one
	Err    error
}

// Error gives the place and the fault.
func (e *Error) Error() string {
	var text strings.Builder
	text.WriteString(e.Name)
	if e.Row > 0 {
		fmt.Fprintf(&text, ": row %d", e.Row)
	}
	if e.Column != "" {
		fmt.Fprintf(&text, ": column %q", e.Column)
	}
	fmt.Fprintf(&text, ": %v", e.Err)
	return text.String()
}

// Unwrap gives the fault without its place.
func (e *Error) Unwrap() error { return e.Err }

// guarded turns a panic of do into an error.
func guarded(do func() error) (err error) {
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("%w: %v", ErrDamaged, p)
		}
	}()
	return do()
}

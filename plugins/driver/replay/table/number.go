package table

import (
	"errors"
	"fmt"
	"strconv"
)

// ErrNoNumber is the fault of a cell that should hold a number.
var ErrNoNumber = errors.New("is no number")

// ParseNumber reads a cell as a decimal number; nan and inf are numbers, an empty cell is not.
func ParseNumber(cell []byte) (float64, error) {
	if isLiteral(cell) {
		return 0, noNumber(cell)
	}
	value, err := strconv.ParseFloat(string(cell), 64)
	if err != nil {
		return 0, noNumber(cell)
	}
	return value, nil
}

// noNumber stands apart so that the text of the error, and not every cell, is put on the heap.
func noNumber(cell []byte) error { return fmt.Errorf("%s %w", excerpt(cell), ErrNoNumber) }

// isLiteral finds the numbers that a Go program may write and a recording has no business holding, such as 0x1p-2 and 1_000.
func isLiteral(cell []byte) bool {
	for _, c := range cell {
		if c == '_' || c|0x20 == 'x' {
			return true
		}
	}
	return false
}

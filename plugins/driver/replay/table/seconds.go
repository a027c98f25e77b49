package table

import (
	"errors"
	"fmt"
)

// MaxSeconds bounds the times of a recording in both directions, about 95 years: any two of them differ by less than the
// nanoseconds an int64 holds, and seconds since 1970 fit where milliseconds do not.
const MaxSeconds = 3_000_000_000

const maxNanos = MaxSeconds * 1_000_000_000

// Faults of a time, found by errors.Is.
var (
	ErrNoTime     = errors.New("is no time in seconds")
	ErrTimeBeyond = fmt.Errorf("is beyond ±%d s, times are in seconds", int64(MaxSeconds))
)

// ParseSeconds reads a cell as decimal seconds, such as 12, -0.5 or 1.5e3, and gives nanoseconds. Digits past the nanosecond
// round to the nearest, halves away from zero; nothing passes through floating point.
func ParseSeconds(cell []byte) (int64, error) {
	digits, negative := sign(cell)
	mantissa, exponent, ok := cutExponent(digits)
	if !ok {
		return 0, noTime(cell)
	}
	nanos, err := decimalNanos(mantissa, exponent)
	if err != nil {
		return 0, fmt.Errorf("%s %w", excerpt(cell), err)
	}
	if negative {
		nanos = -nanos
	}
	return nanos, nil
}

func noTime(cell []byte) error { return fmt.Errorf("%s %w", excerpt(cell), ErrNoTime) }

func sign(text []byte) (rest []byte, negative bool) {
	if len(text) > 0 && (text[0] == '-' || text[0] == '+') {
		return text[1:], text[0] == '-'
	}
	return text, false
}

// cutExponent splits 1.5e3 into 1.5 and 3.
func cutExponent(text []byte) (mantissa []byte, exponent int, ok bool) {
	for i, c := range text {
		if c|0x20 == 'e' {
			exponent, ok = wholeNumber(text[i+1:])
			return text[:i], exponent, ok
		}
	}
	return text, 0, true
}

// wholeNumber reads an exponent. It stops growing beyond any that the digits of one line could make up for.
func wholeNumber(text []byte) (value int, ok bool) {
	digits, negative := sign(text)
	for _, c := range digits {
		if c < '0' || c > '9' {
			return 0, false
		}
		if value < 1<<20 {
			value = value*10 + int(c-'0')
		}
	}
	if negative {
		value = -value
	}
	return value, len(digits) > 0
}

// decimalNanos adds up the digits of a mantissa. The weight of the digit at hand is 10^place ns, so place goes down from digit to
// digit until -1, whose digit rounds, and beyond, where digits are only checked.
func decimalNanos(mantissa []byte, exponent int) (nanos int64, err error) {
	point, found := wholeDigits(mantissa), false
	place := point + exponent + 8
	for i, c := range mantissa {
		if i == point && c == '.' {
			continue
		}
		if c < '0' || c > '9' {
			return 0, ErrNoTime
		}
		found = true
		if nanos, err = addDigit(nanos, c, place); err != nil {
			return 0, err
		}
		place--
	}
	if !found {
		return 0, ErrNoTime
	}
	return scale(nanos, place+1)
}

// wholeDigits counts what stands before the decimal point.
func wholeDigits(mantissa []byte) int {
	for i, c := range mantissa {
		if c == '.' {
			return i
		}
	}
	return len(mantissa)
}

func addDigit(nanos int64, digit byte, place int) (int64, error) {
	switch {
	case place >= 0 && nanos > maxNanos/10:
		return 0, ErrTimeBeyond
	case place >= 0:
		nanos = nanos*10 + int64(digit-'0')
	case place == -1 && digit >= '5':
		nanos++
	}
	return nanos, nil
}

// scale multiplies by the power of ten that the digits did not reach.
func scale(nanos int64, power int) (int64, error) {
	for ; power > 0 && nanos != 0; power-- {
		if nanos > maxNanos/10 {
			return 0, ErrTimeBeyond
		}
		nanos *= 10
	}
	if nanos > maxNanos {
		return 0, ErrTimeBeyond
	}
	return nanos, nil
}

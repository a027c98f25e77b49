// Package show writes what the daemon gives for people (amperes, ampere-hours, degrees) and for programs (JSON with the units of the API).
package show

import (
	"fmt"
	"time"
)

// microcoulombsPerAmpereHour is exact: 1 Ah = 3600 C (SI Brochure, 9th edition).
const microcoulombsPerAmpereHour = 3.6e9

// AmpereHours writes a charge.
func AmpereHours(microcoulombs int64) string {
	return coulombsToAmpereHours(float64(microcoulombs) * 1e-6)
}

// coulombsToAmpereHours writes a charge that is no whole number of microcoulombs.
func coulombsToAmpereHours(coulombs float64) string {
	text := fmt.Sprintf("%.4f", coulombs/3600)
	if text == "-0.0000" {
		return text[1:] // what rounds to nothing has no sign
	}
	return text
}

// Clock writes a wall-clock label to the millisecond, in UTC.
func Clock(wallNanos int64) string {
	return time.Unix(0, wallNanos).UTC().Format("2006-01-02 15:04:05.000")
}

// Duration writes a time in whole hours, minutes and seconds, or in seconds if it is short.
func Duration(nanos int64) string {
	if nanos < int64(time.Minute) {
		return fmt.Sprintf("%.3f s", float64(nanos)/1e9)
	}
	return time.Duration(nanos).Round(time.Second).String()
}

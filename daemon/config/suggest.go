package config

import "strings"

// unitWords maps the words for multiples of a unit, and the abbreviations people write, to the unit. Kelvin and degree Celsius are
// different quantities here: a coefficient is not a temperature.
var unitWords = map[string]string{
	"ohm": "ohms", "milliohms": "ohms", "milliohm": "ohms", "microohms": "ohms", "microohm": "ohms", "mohm": "ohms", "uohm": "ohms",
	"ampere": "amperes", "milliamperes": "amperes", "kiloamperes": "amperes", "amps": "amperes", "amp": "amperes", "a": "amperes",
	"ma": "amperes", "ka": "amperes", "milliamps": "amperes",
	"volt": "volts", "millivolts": "volts", "millivolt": "volts", "microvolts": "volts", "v": "volts", "mv": "volts", "uv": "volts",
	"second": "seconds", "milliseconds": "seconds", "microseconds": "seconds", "minutes": "seconds", "hours": "seconds", "s": "seconds",
	"sec": "seconds", "ms": "seconds", "us": "seconds", "min": "seconds", "h": "seconds",
	"degrees": "celsius", "c": "celsius", "degc": "celsius", "fahrenheit": "celsius", "ppm": "ratio", "percent": "ratio",
	"megabyte": "megabytes", "mb": "megabytes", "kilobytes": "megabytes", "gigabytes": "megabytes", "mib": "megabytes", "bytes": "megabytes",
	"k": "kelvin", "w": "watt", "watts": "watt", "milliwatt": "watt", "lsb": "count", "code": "count", "counts": "count",
}

// inUnits spells a key with its units only, without multiples and abbreviations.
func inUnits(key string) string {
	words := strings.Split(strings.ToLower(key), "_")
	for i, word := range words {
		if unit, found := unitWords[word]; found {
			words[i] = unit
		}
	}
	return strings.Join(words, "_")
}

// otherUnit finds the key that means the same quantity in the unit it is taken in.
func otherUnit(key string, known []string) (string, bool) {
	for _, k := range known {
		if k != key && inUnits(k) == inUnits(key) {
			return k, true
		}
	}
	return "", false
}

// nearest finds the known word a wrong one was most likely meant to be: one that goes on where the word stops, or else the one with
// the fewest letters to change, if they are few.
func nearest(word string, known []string) (string, bool) {
	best, least := "", max(2, len(word)/3)+1
	for _, k := range known {
		d := distance(strings.ToLower(word), k)
		if strings.HasPrefix(k, word+"_") {
			d = 1
		}
		if d < least {
			best, least = k, d
		}
	}
	return best, best != ""
}

// distance is the number of letters to put in, take out or change (Levenshtein), with a swap of neighbours counted once.
func distance(a, b string) int {
	if len(a) > quotedLimit || len(b) > quotedLimit {
		return max(len(a), len(b))
	}
	before, row := make([]int, len(b)+1), make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := 1; i <= len(a); i++ {
		next := make([]int, len(b)+1)
		next[0] = i
		for j := 1; j <= len(b); j++ {
			changed := row[j-1]
			if a[i-1] != b[j-1] {
				changed++
			}
			next[j] = min(changed, row[j]+1, next[j-1]+1)
			if i > 1 && j > 1 && a[i-1] == b[j-2] && a[i-2] == b[j-1] {
				next[j] = min(next[j], before[j-2]+1)
			}
		}
		before, row = row, next
	}
	return row[len(b)]
}

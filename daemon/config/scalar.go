package config

import (
	"math"
	"reflect"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"
)

var (
	// decimal is a number as the file takes it: no hexadecimal, no underscores, no leading zeros, which YAML's versions read differently.
	decimal = regexp.MustCompile(`^[-+]?(0|[1-9][0-9]*)?(\.[0-9]*)?([eE][-+]?[0-9]+)?$`)
	digit   = regexp.MustCompile(`^[-+]?\.?[0-9]`)
	// withUnit is a number with something behind it that may be a unit.
	withUnit   = regexp.MustCompile(`^[-+]?[0-9][0-9.,]*([eE][-+]?[0-9]+)?\s*[\pL%°µΩ][\pL0-9%°µΩ/²^·-]*$`)
	notFinite  = regexp.MustCompile(`^[-+]?\.?(inf|Inf|INF|nan|NaN|NAN|infinity|Infinity)$`)
	leadingNil = regexp.MustCompile(`^[-+]?0[0-9]+`)
	prefixed   = regexp.MustCompile(`^0[xob][0-9a-fA-F]+$`)
)

func isDecimal(text string) bool { return decimal.MatchString(text) && digit.MatchString(text) }

// notNumber says what is wrong with a text that should be a number.
func notNumber(n *node, want string) string {
	switch {
	case isDecimal(n.text):
		return "write the number without quotes"
	case notFinite.MatchString(n.text):
		return "must be a finite number; for no limit take the key out"
	case leadingNil.MatchString(n.text):
		return "write the number without leading zeros"
	case withUnit.MatchString(n.text) && !prefixed.MatchString(n.text):
		return quoted(n.text) + " holds a unit: write the number alone: the unit is in the key's name"
	case strings.Contains(n.text, ",") && isDecimal("1"+strings.ReplaceAll(n.text, ",", "")):
		return quoted(n.text) + " holds a comma: write a point before the decimals and nothing between thousands"
	case strings.Contains(n.text, "_") && isDecimal(strings.ReplaceAll(n.text, "_", "")):
		return quoted(n.text) + " holds an underscore: write digits alone"
	}
	return quoted(n.text) + " is not " + want
}

func (w *walk) number(n *node, path string, v reflect.Value, f field) {
	if !n.plain || !isDecimal(n.text) {
		w.fault(n.at, path, notNumber(n, wanted(v.Type())))
		return
	}
	x, err := strconv.ParseFloat(n.text, 64)
	whole := v.Kind() == reflect.Int
	switch {
	case err != nil || whole && math.Abs(x) > math.MaxInt32:
		w.fault(n.at, path, quoted(n.text)+" is too large a number")
		return
	case whole && x != math.Trunc(x):
		w.fault(n.at, path, quoted(n.text)+" is not a whole number")
		return
	}
	w.obey(n, path, x, f)
	if whole {
		v.SetInt(int64(x))
	} else {
		v.SetFloat(x)
	}
}

// obey holds a number against the rules of its check tag.
func (w *walk) obey(n *node, path string, x float64, f field) {
	for _, name := range f.checks {
		if r, found := rules[name]; found && !r.holds(x) {
			w.fault(n.at, path, n.text+" "+r.text)
			return
		}
	}
}

func (w *walk) boolean(n *node, path string, v reflect.Value) {
	value, known := truth(n)
	if !known {
		w.fault(n.at, path, quoted(n.text)+" is not true or false: write one of the two, without quotes")
	}
	v.SetBool(value)
}

func truth(n *node) (value, known bool) {
	switch n.text {
	case "true", "True", "TRUE":
		return true, n.plain
	case "false", "False", "FALSE":
		return false, n.plain
	}
	return false, false
}

// text takes any scalar as it is written: the key says that it is a text, so 1 and true are texts too.
func (w *walk) text(n *node, path string, v reflect.Value, f field) {
	switch {
	case !utf8.ValidString(n.text) || strings.ContainsRune(n.text, 0):
		w.fault(n.at, path, quoted(n.text)+" holds bytes that are no text")
	case f.has("free"):
	case n.text == "":
		w.fault(n.at, path, "is empty: write a text")
	case strings.ContainsFunc(n.text, unicode.IsControl):
		w.fault(n.at, path, quoted(n.text)+" holds a line end or another control character")
	case strings.TrimSpace(n.text) != n.text:
		w.fault(n.at, path, quoted(n.text)+" begins or ends with a space")
	default:
		w.words(n, path, f)
	}
	v.SetString(n.text)
}

// words holds a text against a choice in its check tag, such as discharge|charge.
func (w *walk) words(n *node, path string, f field) {
	for _, c := range f.checks {
		if choice := strings.Split(c, "|"); len(choice) > 1 {
			w.among(n.at, path, n.text, choice, "is not known")
		}
	}
}

// among gives a fault if a word is not one of the known ones.
func (w *walk) among(at place, path, word string, known []string, what string) {
	for _, k := range known {
		if k == word {
			return
		}
	}
	text := quoted(word) + " " + what
	if k, found := nearest(word, known); found {
		text += ": did you mean " + segment(k) + "?"
	}
	if len(known) < 12 {
		text += " (" + strings.Join(quotedAll(known), ", ") + ")"
	}
	w.fault(at, path, text)
}

func quotedAll(words []string) []string {
	var all []string
	for _, word := range words {
		if word = segment(word); !slices.Contains(all, word) {
			all = append(all, word)
		}
	}
	return all
}

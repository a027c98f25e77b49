package config

import (
	"math"
	"strconv"
	"strings"
	"unicode/utf8"
)

// exactly is the greatest whole number below which a float64 holds all: settings travel to a plugin as such.
const exactly = 1 << 53

// settings takes what stands under `with:`. Its keys are the plugin's; here only its form is checked. Scalars are what YAML 1.2
// calls them: int64, float64, bool or string; also hexadecimal numbers, which registers and addresses are written in.
func (w *walk) settings(n *node, path string) map[string]any {
	made := map[string]any{}
	for _, p := range n.pairs {
		inner := join(path, p.key)
		if !utf8.ValidString(p.key) || p.key == "" {
			w.fault(p.at, inner, "write the key as a plain word")
			continue
		}
		w.keys[inner] = p.at
		made[p.key] = w.setting(p.value, inner)
	}
	return made
}

func (w *walk) setting(n *node, path string) any {
	w.values[path] = n.at
	switch n.kind {
	case mapping:
		return w.settings(n, path)
	case sequence:
		made := make([]any, len(n.items))
		for i, entry := range n.items {
			made[i] = w.setting(entry, item(path, i))
		}
		return made
	case scalar:
		return w.plain(n, path)
	case absent:
		w.fault(n.at, path, "nothing is written here: write a value, or take the key out")
	case refused:
		w.bad[path] = true
	}
	return nil
}

func (w *walk) plain(n *node, path string) any {
	flag, isFlag := truth(n)
	switch {
	case !utf8.ValidString(n.text):
		w.fault(n.at, path, quoted(n.text)+" holds bytes that are no text")
	case !n.plain:
	case isFlag:
		return flag
	case notFinite.MatchString(n.text) && strings.Contains(n.text, "."):
		w.fault(n.at, path, n.text+" is not finite: a setting cannot hold it; a text needs quotes")
	case leadingNil.MatchString(n.text) && isDecimal(strings.TrimLeft(n.text, "-+0")+"0"):
		w.fault(n.at, path, n.text+" has leading zeros: write the number without them, or a text in quotes")
	case prefixed.MatchString(n.text):
		return w.hexadecimal(n, path)
	case isDecimal(n.text):
		return w.settingNumber(n, path)
	}
	return n.text
}

func (w *walk) hexadecimal(n *node, path string) any {
	x, err := strconv.ParseInt(n.text, 0, 64)
	if err != nil || x > exactly {
		w.fault(n.at, path, n.text+" is no number that a setting can hold; a text needs quotes")
	}
	return x
}

func (w *walk) settingNumber(n *node, path string) any {
	if x, err := strconv.ParseInt(n.text, 10, 64); err == nil && x <= exactly && x >= -exactly {
		return x
	}
	x, err := strconv.ParseFloat(n.text, 64)
	if err != nil || !strings.ContainsAny(n.text, ".eE") || math.IsInf(x, 0) {
		w.fault(n.at, path, n.text+" has more digits than a setting can hold; a text, such as a serial number, needs quotes")
	}
	return x
}

package show

import (
	"strconv"
	"strings"
	"unicode"
)

// Plain gives a text that somebody wrote as it goes into a line: quoted if it holds what would begin another line or steer a terminal.
func Plain(text string) string {
	if strings.ContainsFunc(text, unicode.IsControl) {
		return strconv.Quote(text)
	}
	return text
}

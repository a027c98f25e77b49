package plugintest

import (
	"strings"
	"sync"
)

// mostTail is how much of an output is kept.
const mostTail = 64 << 10

// tail keeps the end of what is written to it. Safe for concurrent use.
type tail struct {
	mu   sync.Mutex
	text []byte
}

// Write implements io.Writer; it does not fail.
func (o *tail) Write(text []byte) (int, error) {
	o.mu.Lock()
	defer o.mu.Unlock()
	o.text = append(o.text, text...)
	o.text = o.text[max(0, len(o.text)-mostTail):]
	return len(text), nil
}

// String gives what is kept.
func (o *tail) String() string {
	o.mu.Lock()
	defer o.mu.Unlock()
	return string(o.text)
}

// lastWords gives the last line that says something, to append to an error.
func (o *tail) lastWords() string {
	text := strings.TrimSpace(o.String())
	if text == "" {
		return ""
	}
	return ": " + text[strings.LastIndexByte(text, '\n')+1:]
}

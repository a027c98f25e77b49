package pluginhost

import (
	"bytes"
	"strings"
	"sync"

	"go.uber.org/zap"
)

// maxLine is the longest line of a plugin's that is logged as one; it bounds what is kept of a line that never ends.
const maxLine = 8 << 10

// journal writes a plugin's standard error to the log, line by line, and remembers the last words. Safe for concurrent use.
type journal struct {
	log *zap.Logger

	mu    sync.Mutex
	begun []byte // of a line
	last  string // the newest line that is not empty; if the plugin panics, the line that says why
	final bool   // last is that line
}

// Write implements io.Writer; it does not fail.
func (j *journal) Write(text []byte) (int, error) {
	j.mu.Lock()
	defer j.mu.Unlock()
	for rest := text; len(rest) > 0; {
		line, after, complete := bytes.Cut(rest, []byte{'\n'})
		n := min(len(line), maxLine-len(j.begun))
		j.begun = append(j.begun, line[:n]...)
		switch {
		case n < len(line):
			rest = rest[n:]
		case complete:
			rest = after
		default:
			return len(text), nil
		}
		j.end()
	}
	return len(text), nil
}

// flush ends the line that was begun, if any.
func (j *journal) flush() {
	j.mu.Lock()
	defer j.mu.Unlock()
	if len(j.begun) > 0 {
		j.end()
	}
}

func (j *journal) end() {
	line := strings.ToValidUTF8(string(j.begun), "\uFFFD")
	j.begun = j.begun[:0]
	j.log.Info(line)
	if said := strings.TrimSpace(line); said != "" && !j.final {
		j.final = strings.HasPrefix(said, "panic: ") || strings.HasPrefix(said, "fatal error: ")
		j.last = said[:min(len(said), 200)]
	}
}

// lastWords gives the last words to append to an error; empty if there are none.
func (j *journal) lastWords() string {
	j.mu.Lock()
	defer j.mu.Unlock()
	if j.last == "" {
		return ""
	}
	return ": " + strings.ToValidUTF8(j.last, "")
}

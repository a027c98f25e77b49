package pluginhost

import (
	"bytes"
	"strings"
	"sync"
	"time"

	"go.uber.org/zap"
)

// maxLine is the longest line of a plugin's that is logged as one; it bounds what is kept of a line that never ends.
const maxLine = 8 << 10

// mostLines is how many lines of a plugin's are logged in a second: more than a panic has, and little enough to fill no disk overnight. What is
// beyond is left out and counted; how much it was is told with the next line that is logged, or at the end.
const mostLines = 500

// journal writes a plugin's standard error to the log, line by line, and remembers the last words, also of what it leaves out. Safe for
// concurrent use.
type journal struct {
	log *zap.Logger

	mu    sync.Mutex
	begun []byte // of a line
	last  string // the newest line that is not empty; if the plugin panics, the line that says why
	final bool   // last is that line

	second  time.Time // when the second that is counted began
	lines   int       // logged in it
	leftOut int       // and not told yet
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

// flush ends the line that was begun, if any, and tells what was left out.
func (j *journal) flush() {
	j.mu.Lock()
	defer j.mu.Unlock()
	if len(j.begun) > 0 {
		j.end()
	}
	j.tellLeftOut()
}

func (j *journal) end() {
	line := strings.ToValidUTF8(string(j.begun), "\uFFFD")
	j.begun = j.begun[:0]
	j.write(line)
	if said := strings.TrimSpace(line); said != "" && !j.final {
		j.final = strings.HasPrefix(said, "panic: ") || strings.HasPrefix(said, "fatal error: ")
		j.last = said[:min(len(said), 200)]
	}
}

// write logs a line, unless there were too many in this second.
func (j *journal) write(line string) {
	if now := time.Now(); now.Sub(j.second) >= time.Second {
		j.second, j.lines = now, 0
		j.tellLeftOut()
	}
	if j.lines == mostLines {
		j.leftOut++
		return
	}
	j.lines++
	j.log.Info(line)
}

func (j *journal) tellLeftOut() {
	if j.leftOut > 0 {
		j.log.Warn("the plugin writes more than is logged", zap.Int("lines_left_out", j.leftOut), zap.Int("most_lines_a_second", mostLines))
		j.leftOut = 0
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

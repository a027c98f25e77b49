package pluginhost

import (
	"fmt"
	"slices"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"go.uber.org/zap"
	"go.uber.org/zap/zapcore"
	"go.uber.org/zap/zaptest/observer"
)

func TestJournal(t *testing.T) {
	long := strings.Repeat("x", maxLine)
	for name, c := range map[string]struct {
		writes    []string
		want      []string
		lastWords string
	}{
		"nothing":              {nil, nil, ""},
		"lines":                {[]string{"a\nb\n"}, []string{"a", "b"}, ": b"},
		"empty lines":          {[]string{"a\n\n\n"}, []string{"a", "", ""}, ": a"},
		"a line in pieces":     {[]string{"a", "b", "\nc"}, []string{"ab", "c"}, ": c"},
		"an end without a new": {[]string{"a"}, []string{"a"}, ": a"},
		"a line too long":      {[]string{long + "yz\n"}, []string{long, "yz"}, ": yz"},
		"one just long enough": {[]string{long, "\n"}, []string{long}, ": " + long[:200]},
		"one without an end":   {slices.Repeat([]string{long[:1000]}, 17), []string{long, long, long[:17000-2*maxLine]}, ": " + long[:200]},
		"not UTF-8":            {[]string{"a\xffb\n"}, []string{"a\uFFFDb"}, ": a\uFFFDb"},
		"a panic": {
			[]string{"before\npanic: no bus\n\ngoroutine 1 [running]:\nmain.main()\nexit status 2\n"},
			[]string{"before", "panic: no bus", "", "goroutine 1 [running]:", "main.main()", "exit status 2"}, ": panic: no bus",
		},
		"a fatal error": {[]string{"fatal error: all asleep\ngoroutine 1:\n"}, []string{"fatal error: all asleep", "goroutine 1:"}, ": fatal error: all asleep"},
	} {
		t.Run(name, func(t *testing.T) {
			core, seen := observer.New(zapcore.InfoLevel)
			j := &journal{log: zap.New(core)}
			for _, text := range c.writes {
				if n, err := j.Write([]byte(text)); n != len(text) || err != nil {
					t.Errorf("wrote %d, %v", n, err)
				}
			}
			j.flush()
			j.flush()
			var got []string
			for _, e := range seen.All() {
				got = append(got, e.Message)
			}
			if !slices.Equal(got, c.want) {
				t.Errorf("logged %.40q, want %.40q", got, c.want)
			}
			if got := j.lastWords(); got != c.lastWords {
				t.Errorf("last words %q, want %q", got, c.lastWords)
			}
		})
	}
}

// A line that never ends is not kept.
func TestJournalIsBounded(t *testing.T) {
	j := &journal{log: zap.NewNop()}
	var writing sync.WaitGroup
	for range 2 { // standard error comes over two ways
		writing.Go(func() {
			for range 1000 {
				if _, err := j.Write(make([]byte, 10_000)); err != nil {
					t.Error(err)
				}
			}
		})
	}
	writing.Wait()
	if cap(j.begun) > 2*maxLine {
		t.Errorf("keeps %d bytes", cap(j.begun))
	}
}

// Each second has its share of lines; what is left out is told once it is over, the last words are known whatever was left out.
func TestJournalOfAFlood(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		core, seen := observer.New(zapcore.InfoLevel)
		j := &journal{log: zap.New(core)}
		write := func(lines int) {
			for k := range lines {
				fmt.Fprintf(j, "%d\n", k+1)
			}
		}
		write(mostLines + 7)
		if got := j.lastWords(); got != fmt.Sprintf(": %d", mostLines+7) || seen.Len() != mostLines {
			t.Errorf("%d lines, last words %q", seen.Len(), got)
		}
		time.Sleep(time.Second)
		write(mostLines)
		time.Sleep(time.Second - 1)
		write(3)
		j.flush()
		j.flush()
		if seen.Len() != 2*mostLines+2 {
			t.Errorf("%d lines", seen.Len())
		}
		for at, want := range map[int]int64{mostLines: 7, 2*mostLines + 1: 3} {
			if got := seen.All()[at].ContextMap()["lines_left_out"]; got != want {
				t.Errorf("line %d says %v lines were left out, want %d", at, got, want)
			}
		}
	})
}

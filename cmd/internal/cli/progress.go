package cli

import (
	"fmt"
	"io"
	"time"
)

// progressAfter is how long work goes on before it says so, and how often it does then.
const progressAfter = time.Second

// Progress tells on one line of stderr how far long work has come. It belongs to one goroutine.
type Progress struct {
	to    io.Writer
	start time.Time
	last  time.Time
	shown bool
}

// NewProgress begins now.
func NewProgress(to io.Writer) *Progress {
	now := time.Now()
	return &Progress{to: to, start: now, last: now}
}

// Update shows what text gives, at most once a second.
func (p *Progress) Update(text func() string) {
	now := time.Now()
	if now.Sub(p.last) < progressAfter {
		return
	}
	p.last, p.shown = now, true
	fmt.Fprintf(p.to, "\r%s, %.0f s\x1b[K", text(), now.Sub(p.start).Seconds())
}

// Done ends the line, if there is one.
func (p *Progress) Done() {
	if p.shown {
		fmt.Fprintln(p.to)
	}
}

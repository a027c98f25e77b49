package pipeline

import (
	"context"
	"errors"
	"sync"
	"time"

	"github.com/ampledger/ampledger/plugins/plugin"
)

// heardWithin is the longest an estimator may take to answer what somebody waits for.
const heardWithin = 30 * time.Second

// ErrUnheard says that the estimator did not answer in time.
var ErrUnheard = errors.New("the estimator did not answer")

// hearing gathers what the estimator says to certain summaries, for somebody who waits for it. Its lock is a leaf.
type hearing struct {
	mu    sync.Mutex
	heard uint64 // number of the newest item it was told the answer to
	last  uint64 // number of the last item waited for; 0 = not known yet
	notes []string
	done  chan struct{} // closed when that has been answered
}

func newHearing() *hearing { return &hearing{done: make(chan struct{})} }

// hear takes the answer to an item. What a later estimator says to the same item, when it is warmed up, is not taken.
func (h *hearing) hear(number uint64, answer *plugin.Answer) {
	h.mu.Lock()
	defer h.mu.Unlock()
	if number <= h.heard {
		return
	}
	h.heard = number
	for _, note := range answer.GetNotes() {
		h.notes = append(h.notes, wordsOf(note))
	}
	h.check()
}

func wordsOf(n *plugin.Note) string {
	text := n.GetSubject() + ": " + n.GetText()
	if n.GetChannel() != "" {
		text = n.GetChannel() + ": " + text
	}
	return text
}

// until says which item is the last.
func (h *hearing) until(number uint64) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.last = number
	h.check()
}

func (h *hearing) check() {
	if h.last > 0 && h.heard >= h.last {
		select {
		case <-h.done:
		default:
			close(h.done)
		}
	}
}

// wait waits for the answer to the last item and gives the notes of all.
func (h *hearing) wait(ctx context.Context) ([]string, error) {
	ctx, cancel := context.WithTimeoutCause(ctx, heardWithin, ErrUnheard)
	defer cancel()
	select {
	case <-h.done:
	case <-ctx.Done():
		return nil, context.Cause(ctx)
	}
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.notes, nil
}

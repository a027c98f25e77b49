package recording

import (
	"sync"
	"time"

	"github.com/ampledger/ampledger/daemon/scan"
	"github.com/ampledger/ampledger/plugins/driver/replay/recorded"
)

// Track records one device. Frame may be called by one goroutine at a time, beside Run.
type Track struct {
	device  string
	text    string // of its head
	limits  Settings
	full    chan<- struct{} // wakes Run
	encoder *encoder        // Run's, as is file
	file    *file

	mu      sync.Mutex
	inputs  int
	made    int      // blocks
	filling *block   // nil = none was needed or free
	waiting []*block // full ones, oldest first
	free    []*block
	lost    Lost
	retired bool // no more frames will come
}

// Lost says which scans of a device are not recorded.
type Lost struct {
	Device             string
	First, Last, Scans uint64 // sequences of the first and the last, and how many of those from one to the other
	Why                error  // nil = there was no room: the disk does not keep up
}

func newTrack(h *recorded.Head, text string, limits Settings, full chan<- struct{}) *Track {
	return &Track{device: h.Device, text: text, limits: limits, full: full, encoder: newEncoder(h, text), inputs: len(h.Description.GetInputs())}
}

// Frame takes a frame's scans, whose columns are those of the track's description. It copies them, does not wait for the disk, and drops, counted,
// what there is no room for.
// After Run has returned nothing is recorded any more.
func (t *Track) Frame(f *scan.Frame) {
	t.mu.Lock()
	defer t.mu.Unlock()
	for i := 0; i < f.Count; {
		room := t.room()
		if room == 0 {
			t.lose(f.Sequence+uint64(i), f.Sequence+uint64(f.Count)-1)
			return
		}
		j := min(i+room, f.Count)
		t.filling.add(f, i, j)
		if i = j; t.filling.count() == t.limits.RowGroupScans {
			t.queue()
		}
	}
}

// room gives how many scans the block that is being filled can take.
func (t *Track) room() int {
	switch n := len(t.free); {
	case t.filling != nil:
	case n > 0:
		t.filling, t.free = t.free[n-1], t.free[:n-1]
	case t.made <= t.limits.QueuedRowGroups:
		t.filling = newBlock(t.inputs)
		t.made++
	default:
		return 0
	}
	return t.limits.RowGroupScans - t.filling.count()
}

func (t *Track) queue() {
	t.waiting, t.filling = append(t.waiting, t.filling), nil
	select {
	case t.full <- struct{}{}:
	default:
	}
}

func (t *Track) lose(first, last uint64) {
	if t.lost.Scans == 0 {
		t.lost.First = first
	}
	t.lost.Last = last
	t.lost.Scans += last - first + 1
}

// next gives the oldest block to be written, nil if there is none; with all = true the one being filled waits from now on too.
func (t *Track) next(all bool) *block {
	t.mu.Lock()
	defer t.mu.Unlock()
	if all && t.filling != nil && t.filling.count() > 0 {
		t.waiting, t.filling = append(t.waiting, t.filling), nil
	}
	if len(t.waiting) == 0 {
		return nil
	}
	return t.waiting[0]
}

// done gives the block back that next gave.
func (t *Track) done() {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.waiting[0].reset()
	t.free = append(t.free, t.waiting[0])
	t.waiting = append(t.waiting[:0], t.waiting[1:]...)
}

// takeLost gives what was lost since the last call.
func (t *Track) takeLost() Lost {
	t.mu.Lock()
	defer t.mu.Unlock()
	lost := t.lost
	lost.Device, t.lost = t.device, Lost{}
	return lost
}

// retire says that no more frames will come.
func (t *Track) retire() {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.retired = true
}

// over tells that no more frames will come and that all have been written.
func (t *Track) over() bool {
	t.mu.Lock()
	defer t.mu.Unlock()
	return t.retired && len(t.waiting) == 0 && t.filling == nil
}

// rotate tells that the file is to be completed.
func (t *Track) rotate(now time.Time) bool {
	f := t.file
	return f != nil && (f.size >= t.limits.RotateBytes || now.Sub(f.opened) >= t.limits.RotateAfter || len(f.contents.RowGroups) >= mostRowGroups)
}

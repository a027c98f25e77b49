package recording

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"time"

	"github.com/ampledger/ampledger/plugins/driver/replay/recorded"
)

// Told are the functions through which a Recorder says what happened, each on Run. They may be nil and must not block.
type Told struct {
	OnLost      func(lost Lost)                                // scans that are not recorded
	OnRemoved   func(path string, bytes int64)                 // a file that had to give way to the budget
	OnRecovered func(path string, saved *Recovered, err error) // a file of a daemon that was killed; saved is nil if there is an error
	OnWritten   func(device string, through uint64)            // scans up to this sequence are on disk, unless they were lost
	OnFault     func(err error)                                // the disk failed; what waits is tried again, a file that cannot be completed is left for recovery
}

// Recorder records devices. Track is safe for concurrent use.
type Recorder struct {
	settings Settings
	told     Told
	full     chan struct{}

	mu     sync.Mutex
	tracks []*Track
}

// New makes a recorder and its folder. Every fault of the settings is given.
func New(settings Settings, told Told) (*Recorder, error) {
	if err := settings.Check(); err != nil {
		return nil, err
	}
	if err := os.MkdirAll(settings.Folder, 0o700); err != nil {
		return nil, err
	}
	return &Recorder{settings: settings, told: told.withDefaults(), full: make(chan struct{}, 1)}, nil
}

func (t Told) withDefaults() Told {
	if t.OnLost == nil {
		t.OnLost = func(Lost) {}
	}
	if t.OnRemoved == nil {
		t.OnRemoved = func(string, int64) {}
	}
	if t.OnRecovered == nil {
		t.OnRecovered = func(string, *Recovered, error) {}
	}
	if t.OnWritten == nil {
		t.OnWritten = func(string, uint64) {}
	}
	if t.OnFault == nil {
		t.OnFault = func(error) {}
	}
	return t
}

// Track gives what records a device, whenever its driver has described it. As long as the description stays the same it is the same
// track; with another a new one begins, and the one before must get no more frames. What cannot be recorded is an error: see recorded.Head.
func (r *Recorder) Track(h *recorded.Head) (*Track, error) {
	text, err := h.Text()
	if err != nil {
		return nil, fmt.Errorf("recording of %s: %w", h.Device, err)
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	for _, t := range r.tracks {
		if t.device != h.Device || t.over() {
			continue
		}
		if t.text == text {
			return t, nil
		}
		t.retire()
	}
	t := newTrack(h, text, r.settings, r.full)
	r.tracks = append(r.tracks, t)
	return t, nil
}

// Run recovers what an earlier daemon left, then writes until ctx ends, and completes every file before it returns. A recorder
// runs once. The error is that of the end.
func (r *Recorder) Run(ctx context.Context) error {
	if err := recoverFolder(r.settings.Folder, r.told.OnRecovered); err != nil {
		r.told.OnFault(fmt.Errorf("recovery of recordings: %w", err))
	}
	ticker := time.NewTicker(r.settings.RowGroup)
	defer ticker.Stop()
	for {
		select {
		case <-ctx.Done():
			return r.finish()
		case <-ticker.C:
			r.writeAll(true)
		case <-r.full:
			r.writeAll(false)
		}
	}
}

// current gives the tracks there are.
func (r *Recorder) current() []*Track {
	r.mu.Lock()
	defer r.mu.Unlock()
	return slices.Clone(r.tracks)
}

func (r *Recorder) writeAll(all bool) {
	for _, t := range r.current() {
		if err := r.writeTrack(t, all); err != nil {
			r.told.OnFault(err)
		}
	}
	if err := keepBudget(r.settings.Folder, r.settings.BudgetBytes, r.told.OnRemoved); err != nil {
		r.told.OnFault(fmt.Errorf("budget of recordings: %w", err))
	}
}

// writeTrack writes the blocks that wait. An error leaves them waiting.
func (r *Recorder) writeTrack(t *Track, all bool) error {
	if lost := t.takeLost(); lost.Scans > 0 {
		r.told.OnLost(lost)
	}
	for b := t.next(all); b != nil; b = t.next(false) {
		if err := r.write(t, b); err != nil {
			return fmt.Errorf("recording of %s: %w", t.device, err)
		}
		t.done()
		if t.rotate(time.Now()) {
			if err := t.complete(); err != nil {
				return err
			}
		}
	}
	over := t.over()
	if over {
		r.drop(t)
	}
	if over || t.rotate(time.Now()) {
		return t.complete()
	}
	return nil
}

// write puts a block on disk. What can never be written is told as lost and is no error.
func (r *Recorder) write(t *Track, b *block) error {
	first, last := uint64(b.sequence[0]), uint64(b.sequence[b.count()-1])
	segment, err := t.encoder.encode(b)
	if err != nil {
		r.told.OnLost(Lost{t.device, first, last, uint64(b.count()), err})
		return nil
	}
	if t.file == nil {
		named := name{t.device, b.sequence[0], time.Unix(0, b.wall[0])}
		if t.file, err = create(openPath(r.settings.Folder, named), time.Now()); err != nil {
			return err
		}
	}
	if err := t.file.append(segment); err != nil {
		return err
	}
	r.told.OnWritten(t.device, last)
	return nil
}

func openPath(folder string, n name) string {
	return filepath.Join(folder, n.String()+recorded.OpenEnding[len(recorded.Ending):])
}

// complete finishes the file that is being written, if there is one with something in it.
func (t *Track) complete() error {
	f := t.file
	if f == nil {
		return nil
	}
	t.file = nil
	if err := f.finish(); err != nil {
		return fmt.Errorf("recording of %s: %s: %w", t.device, f.path, err)
	}
	return nil
}

func (r *Recorder) drop(t *Track) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.tracks = slices.DeleteFunc(r.tracks, func(other *Track) bool { return other == t })
}

// finish writes what is left and completes every file.
func (r *Recorder) finish() error {
	r.writeAll(true)
	var faults []error
	for _, t := range r.current() {
		faults = append(faults, t.complete())
	}
	return errors.Join(faults...)
}

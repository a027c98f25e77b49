package service

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"

	"go.uber.org/zap"

	"github.com/ampledger/ampledger/daemon/guard"
	"github.com/ampledger/ampledger/daemon/store"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// Waveforms keeps the readings before and after each event that a guard element raises, at full rate, as they were published: frames around
// the onset go from a conductor's hub to the store, and a frame stands there once, however many events it belongs to.
//
// Until they are written the hub retains them, so the memory taken is the hubs' and a bounded number of references more. Frames are written
// as soon as a window opens, each second while it is open and when it closes: little is lost if the daemon is killed in the middle. If the
// disk fails for longer than the hub retains frames, the window is cut short and says so.
//
// What is beyond the limits is dropped, the oldest first, those of acknowledged events before others. An event of kind "storage" tells how
// many were dropped and of which span, and how many events got none since too many windows were open. The events themselves always stay.
type Waveforms struct {
	config WaveformsConfig
	asked  chan *ampledgerv1.Event
	woken  chan struct{} // a hub has frames

	mu     sync.Mutex
	taking map[string]bool    // by event: its window is not closed and written yet
	missed map[string]*missed // by conductor: events that will have no waveform, not told yet

	// Belongs to Run.
	open     []*window
	scratch  [batch]entry
	toldMiss time.Time // when events without a waveform were told last
	storages uint64    // events of kind storage so far
	failing  bool      // the newest write failed
}

// WaveformsConfig says what to keep and where. Each field is required.
type WaveformsConfig struct {
	Hubs        map[string]*Hub // by conductor; not changed once Run has begun
	Store       WaveformStore
	Tell        func(event *ampledgerv1.Event) // takes an event of kind storage; must not wait
	EventPrefix string                         // of their identifiers, unique for this run of the daemon
	BeforeNanos int64                          // device time to keep before the onset
	AfterNanos  int64                          // and after it
	Bytes       int64                          // that all waveforms may take
	MostAge     time.Duration                  // that a waveform is kept for; 0 = no limit
	Log         *zap.Logger
}

// WaveformStore is where waveforms are kept: a store.Store.
type WaveformStore interface {
	// PutWaveforms stores parts of waveforms durably or nothing.
	PutWaveforms(ctx context.Context, parts []store.WaveformPart) error
	// EndWaveforms makes every open waveform a short one.
	EndWaveforms(ctx context.Context, shortfall string) (ended int64, err error)
	// DropWaveform drops one waveform that is beyond the limits; nil = none is.
	DropWaveform(ctx context.Context, limits store.WaveformLimits, why string) (*store.DroppedWaveform, error)
}

const (
	mostWindows    = 64
	waveformChunk  = 256 << 10 // bytes in one transaction, so that the ledger's own never waits long
	writtenEvery   = time.Second
	retainedEvery  = time.Hour
	silentFor      = time.Minute      // without a reading of the channel, after which a window closes
	waveformDrain  = 10 * time.Second // that the last writes may take once the daemon stops
	storageElement = "waveforms"
)

// NewWaveforms makes one. It starts nothing.
func NewWaveforms(config WaveformsConfig) *Waveforms {
	return &Waveforms{
		config: config, asked: make(chan *ampledgerv1.Event, mostWindows), woken: make(chan struct{}, 1),
		taking: map[string]bool{}, missed: map[string]*missed{},
	}
}

// guardKinds are the kinds of events that have a waveform.
var guardKinds = func() map[string]bool {
	kinds := map[string]bool{}
	for k := guard.KindInstantaneous; k <= guard.KindStaleness; k++ {
		kinds[k.String()] = true
	}
	return kinds
}()

// Watch begins to keep the readings around an event that a guard element raises; other changes and events it passes over. It never waits: an
// event that finds mostWindows others before it gets no waveform, which is counted and told.
func (w *Waveforms) Watch(event *ampledgerv1.Event) {
	if event.GetState() != ampledgerv1.EventState_EVENT_STATE_RAISED || !guardKinds[event.GetKind()] {
		return
	}
	w.mu.Lock()
	defer w.mu.Unlock()
	select {
	case w.asked <- event:
		w.taking[event.GetEventId()] = true
	default:
		w.miss(event)
	}
}

// takes tells whether an event's window is not closed and written yet.
func (w *Waveforms) takes(eventID string) bool {
	if w == nil {
		return false
	}
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.taking[eventID]
}

// Run keeps waveforms until ctx ends; what is open then is cut short, written and closed. It starts no goroutine. End ctx after the last
// reading was published and while events can still be told.
func (w *Waveforms) Run(ctx context.Context) error {
	w.begin(ctx)
	ticker, hourly := time.NewTicker(writtenEvery), time.NewTicker(retainedEvery)
	defer ticker.Stop()
	defer hourly.Stop()
	for {
		if len(w.open) == 0 {
			ticker.Stop()
		}
		due := false
		select {
		case <-ctx.Done():
			w.end(ctx)
			return nil
		case event := <-w.asked:
			ticker.Reset(writtenEvery)
			w.enter(event)
			due = true
		case <-ticker.C:
			w.silence()
			due = true
		case <-hourly.C:
			w.retain(ctx)
		case <-w.woken:
		}
		w.advance(ctx, due)
	}
}

// begin tidies up after a daemon that was killed.
func (w *Waveforms) begin(ctx context.Context) {
	ended, err := w.config.Store.EndWaveforms(ctx, "the daemon ended before the window did")
	if err != nil {
		w.config.Log.Error("waveforms of before were not closed", zap.Error(err))
	}
	if ended > 0 {
		w.config.Log.Warn("waveforms were cut short when the daemon ended last", zap.Int64("count", ended))
	}
	w.retain(ctx)
}

// enter opens an event's window.
func (w *Waveforms) enter(event *ampledgerv1.Event) {
	hub := w.config.Hubs[event.GetConductor()]
	if hub == nil || len(w.open) == mostWindows {
		w.mu.Lock()
		w.miss(event)
		w.mu.Unlock()
		return
	}
	w.open = append(w.open, newWindow(event, hub.follow(w.woken), &w.config))
}

// advance takes what was published and writes it if it is due, or if there is something that should not wait.
func (w *Waveforms) advance(ctx context.Context, due bool) {
	for more := true; more; {
		more = false
		for _, one := range w.open {
			one.collect(w.scratch[:0])
			more = more || one.full()
			due = due || one.urgent && one.changed()
		}
		if (more || due) && !w.write(ctx) {
			return // the next tick tries again
		}
		due = false
	}
	w.close(ctx)
}

// close lets go of windows that are over and written.
func (w *Waveforms) close(ctx context.Context) {
	kept := w.open[:0]
	for _, one := range w.open {
		if !one.written() {
			kept = append(kept, one)
			continue
		}
		one.release()
		w.mu.Lock()
		delete(w.taking, one.event.GetEventId())
		w.mu.Unlock()
	}
	closed := len(kept) < len(w.open)
	clear(w.open[len(kept):])
	w.open = kept
	if closed {
		w.retain(ctx)
	}
	w.tellMissed(len(w.open) == 0)
}

// write writes all that windows have collected, each frame once, however many have it; false = the store failed.
func (w *Waveforms) write(ctx context.Context) bool {
	given := map[frameName]bool{}
	for {
		parts, taken := w.gather(given)
		if len(parts) == 0 {
			return true
		}
		err := w.config.Store.PutWaveforms(ctx, parts)
		if errors.Is(err, store.ErrNoRoom) {
			w.cutAll(err)
			continue
		}
		if err != nil {
			if !w.failing && ctx.Err() == nil {
				w.config.Log.Error("waveforms were not written; it is tried again", zap.Int("count", len(parts)), zap.Error(err))
			}
			w.failing = true
			return false
		}
		w.failing = false
		for one, frames := range taken {
			one.wrote(frames)
		}
	}
}

// cutAll gives up what no room is left for: the windows say so, and what they hold is let go.
func (w *Waveforms) cutAll(why error) {
	w.config.Log.Warn("waveforms are cut short", zap.Error(why))
	for _, one := range w.open {
		one.cut("the disk has no room for it")
	}
}

// gather makes the next transaction: about a chunk, or a little less than two. What was given before is not given again.
func (w *Waveforms) gather(given map[frameName]bool) (parts []store.WaveformPart, taken map[*window]int) {
	taken = map[*window]int{}
	for bytes, i := 0, 0; i < len(w.open) && bytes < waveformChunk; i++ {
		one := w.open[i]
		if !one.changed() {
			continue
		}
		part, frames := one.part(given)
		parts, taken[one] = append(parts, part), frames
		for _, f := range part.Frames {
			bytes += len(f.Encoded)
		}
	}
	return parts, taken
}

// silence closes windows of channels that have had no reading for long.
func (w *Waveforms) silence() {
	for _, one := range w.open {
		if time.Since(one.heard) > silentFor {
			one.close(fmt.Sprintf("no reading came for %v", silentFor))
		}
	}
}

// end takes what was published until now, cuts every window that is open short, and writes all of it.
func (w *Waveforms) end(ctx context.Context) {
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), waveformDrain)
	defer cancel()
	for len(w.asked) > 0 {
		w.enter(<-w.asked)
	}
	w.advance(ctx, true)
	for _, one := range w.open {
		one.close("the daemon stopped")
	}
	w.advance(ctx, true)
	for _, one := range w.open {
		w.config.Log.Error("a waveform was not written to its end before the daemon stopped", zap.String("event_id", one.event.GetEventId()))
		one.release()
	}
	w.open = nil
}

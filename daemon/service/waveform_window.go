package service

import (
	"fmt"
	"time"

	"github.com/ampledger/ampledger/daemon/store"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// window is the time around an event's onset, while its frames are collected. Which of the frames before the onset are of the same time base
// shows only when the onset's own has come: until then those of an older one are let go again.
type window struct {
	event    *ampledgerv1.Event
	reader   *reader
	from, to int64     // device time, ns
	heard    time.Time // when a frame of the channel came last

	waveform store.Waveform
	frames   []entry // to be written, each with a reference
	bytes    int     // of them
	dirty    bool    // there is something to be written, frames or not
	urgent   bool    // and it should not wait for the next tick

	begun    bool   // a frame of the channel was seen
	reached  bool   // the frame with the onset was
	whole    bool   // nothing is missing at the front
	expected uint64 // readings of the channel before the next frame, if none is lost
}

// newWindow takes over the reader, which stands at the oldest frame retained.
func newWindow(event *ampledgerv1.Event, reader *reader, config *WaveformsConfig) *window {
	onset := event.GetOnsetMonotonicNanos()
	return &window{
		event: event, reader: reader, from: onset - config.BeforeNanos, to: onset + config.AfterNanos, heard: time.Now(), dirty: true, urgent: true,
		waveform: store.Waveform{
			EventID: event.GetEventId(), Conductor: event.GetConductor(), Channel: event.GetChannel(), State: store.WaveformOpen,
			BeforeNanos: config.BeforeNanos, AfterNanos: config.AfterNanos, WallNanos: event.GetOnsetWallNanos(),
		},
	}
}

// follow makes a reader at the oldest frame retained, for one who follows several hubs and is woken for any.
func (h *Hub) follow(woken chan struct{}) *reader {
	h.mu.Lock()
	defer h.mu.Unlock()
	r := &reader{hub: h, position: h.base, woken: woken}
	h.readers = append(h.readers, r)
	return r
}

// over tells that the window takes nothing more.
func (w *window) over() bool { return w.waveform.State != store.WaveformOpen }

// full tells that so much waits to be written that no more is taken before.
func (w *window) full() bool { return w.reached && w.bytes >= waveformChunk }

// changed tells that there is something to be written. Before the onset has come it is not known which frames are the window's.
func (w *window) changed() bool { return w.dirty && (w.reached || w.over() || len(w.frames) == 0) }

// written tells that the window is over and all of it on disk.
func (w *window) written() bool { return w.over() && !w.dirty }

// collect takes what was published since, as far as there is room; space is used for the time of the call.
func (w *window) collect(space []entry) {
	for !w.over() && !w.full() {
		frames, more := w.reader.take(space)
		for i := range frames {
			if !w.see(&frames[i]) {
				frames[i].bytes.Free()
			}
		}
		if !more {
			w.close("the devices came to their end")
		}
		if len(frames) == 0 {
			return
		}
	}
}

// see looks at the next frame; true = it keeps the reference.
func (w *window) see(e *entry) (kept bool) {
	if w.over() || e.channel != w.event.GetChannel() {
		return false
	}
	w.heard = time.Now()
	if !w.follows(e) {
		return false
	}
	if e.to < w.from {
		w.whole = true // it is older than the window, so nothing is missing at its front
		return false
	}
	if e.first > w.event.GetOnsetSequence() && !w.reached {
		w.close("the reading at the onset was retained no more")
		return false
	}
	if e.from <= w.to {
		kept = w.keep(e)
	}
	if !w.reached && e.last >= w.event.GetOnsetSequence() {
		w.reached, w.urgent = true, true
	}
	if w.reached && e.to >= w.to {
		w.finish()
	}
	return kept
}

// follows judges a frame by the one before it; false = the window ends there.
func (w *window) follows(e *entry) bool {
	lost, another := w.begun && e.preceding != w.expected, w.begun && e.epoch != w.waveform.Epoch
	switch {
	case w.reached && lost:
		w.close(fmt.Sprintf("%d readings were lost, since they could not be written in time", e.preceding-w.expected))
		return false
	case w.reached && another:
		w.close("the device's time began anew")
		return false
	case lost, another, !w.begun:
		w.letGo()
		w.whole = another && !lost || e.preceding == 0 // else there may have been readings before this one
		w.waveform.Epoch, w.waveform.Kept = e.epoch, nil
	}
	w.begun, w.expected = true, e.end().count
	return true
}

// keep takes a frame that reaches into the window; false = none of its readings does.
func (w *window) keep(e *entry) bool {
	first, last := e.first, e.last
	if e.from < w.from || e.to > w.to {
		frame, err := decode(e.bytes)
		if err != nil {
			w.close("readings could not be read: " + err.Error())
			return false
		}
		begin, end := within(frame, w.from, w.to)
		if begin == end {
			return false
		}
		first, last = e.first+uint64(begin), e.first+uint64(end)-1
	}
	w.whole = w.whole || e.from <= w.from
	if w.waveform.Kept == nil {
		w.waveform.Kept = &store.Sequences{First: first}
	}
	w.waveform.Kept.Last = last
	w.frames, w.dirty = append(w.frames, *e), true
	w.bytes += len(e.bytes.ReadOnlyData())
	return true
}

// finish closes a window that has come to its time.
func (w *window) finish() {
	switch {
	case w.over():
	case w.whole:
		w.waveform.State, w.dirty, w.urgent = store.WaveformComplete, true, true
	default:
		w.close("earlier readings were retained no more")
	}
}

// close closes a window before its time, for a reason; of one that is over it changes nothing.
func (w *window) close(shortfall string) {
	if !w.over() {
		w.waveform.State, w.waveform.Shortfall, w.dirty, w.urgent = store.WaveformShort, shortfall, true, true
	}
}

// cut ends a window with what is on disk of it; what waits is let go.
func (w *window) cut(shortfall string) {
	if len(w.frames) == 0 {
		return
	}
	first, kept := w.frames[0].first, w.waveform.Kept
	switch {
	case kept == nil:
	case kept.First >= first:
		w.waveform.Kept = nil
	default:
		w.waveform.Kept = &store.Sequences{First: kept.First, Last: first - 1}
	}
	w.letGo()
	w.waveform.State, w.waveform.Shortfall, w.dirty, w.urgent = store.WaveformShort, shortfall, true, true
}

// frameName is what a frame stands under in the store.
type frameName struct {
	conductor, channel string
	epoch, first       uint64
}

// part gives what is to be written next, and of how many frames that is: of those given before only that they are the waveform's as well. What
// is kept counts only as far as its frames are written with it.
func (w *window) part(given map[frameName]bool) (part store.WaveformPart, frames int) {
	part.Waveform = w.waveform
	for bytes := 0; frames < len(w.frames) && bytes < waveformChunk; frames++ {
		e := &w.frames[frames]
		name := frameName{part.Conductor, part.Channel, e.epoch, e.first}
		if given[name] {
			continue
		}
		given[name] = true
		data := e.bytes.ReadOnlyData()
		bytes += len(data)
		part.Frames = append(part.Frames, store.WaveformFrame{Sequences: store.Sequences{First: e.first, Last: e.last}, Encoded: data})
	}
	if frames < len(w.frames) {
		part.State, part.Shortfall = store.WaveformOpen, ""
		part.Kept = &store.Sequences{First: w.waveform.Kept.First, Last: w.frames[frames-1].last}
	}
	return part, frames
}

// wrote lets go of frames that are on disk.
func (w *window) wrote(frames int) {
	for i := range w.frames[:frames] {
		w.bytes -= len(w.frames[i].bytes.ReadOnlyData())
		w.frames[i].bytes.Free()
	}
	clear(w.frames[:frames])
	w.frames = w.frames[frames:]
	w.dirty, w.urgent = len(w.frames) > 0, false
}

// letGo gives back all references.
func (w *window) letGo() {
	for i := range w.frames {
		w.frames[i].bytes.Free()
	}
	clear(w.frames)
	w.frames, w.bytes = nil, 0
}

// release ends the window.
func (w *window) release() {
	w.letGo()
	w.reader.close()
}

// within gives the readings of a frame from a time on, up to and without the first one that is later than another: [begin, end).
func within(f *ampledgerv1.Frame, from, to int64) (begin, end int) {
	n := len(f.GetCurrentAmperes())
	for begin < n && readingTime(f, begin) < from {
		begin++
	}
	for end = begin; end < n && readingTime(f, end) <= to; {
		end++
	}
	return begin, end
}

// readingTime gives the device time of a frame's reading.
func readingTime(f *ampledgerv1.Frame, k int) int64 {
	if f.GetPeriodNanos() == 0 {
		return f.GetFirstMonotonicNanos() + f.GetOffsetNanos()[k]
	}
	return f.GetFirstMonotonicNanos() + int64(k)*f.GetPeriodNanos()
}

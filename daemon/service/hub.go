package service

import (
	"context"
	"slices"
	"sync"

	"google.golang.org/grpc/mem"

	"github.com/ampledger/ampledger/daemon/pipeline"
	"github.com/ampledger/ampledger/daemon/scan"
)

// Hub holds a conductor's newest frames, encoded, for its subscribers.
type Hub struct {
	limit int // bytes retained at most; the newest frame always is

	mu      sync.Mutex
	encoder *encoder
	entries []entry // oldest first
	base    uint64  // position of entries[0]; positions count the frames ever published
	bytes   int
	lanes   map[string]*laneEnd
	readers []*reader
	ended   bool
	failed  error
}

// entry is one published frame.
type entry struct {
	channel     string
	first, last uint64 // sequences
	preceding   uint64 // readings of the channel before it
	count       uint64
	origin      uint64 // sequence of the channel's first reading
	bytes       mem.Buffer
}

// laneEnd is how far a channel has come.
type laneEnd struct {
	first uint64 // sequence of the first reading
	count uint64 // readings published
	last  uint64 // sequence of the newest
}

// NewHub makes a hub that retains so many bytes.
func NewHub(limit int) *Hub {
	return &Hub{limit: limit, encoder: newEncoder(), lanes: map[string]*laneEnd{}}
}

// Publish takes one channel's readings. It encodes them once and wakes the subscribers.
func (h *Hub) Publish(lane *pipeline.Lane, r *scan.Readings) {
	h.mu.Lock()
	defer h.mu.Unlock()
	bytes, err := h.encoder.encode(lane, r)
	if err != nil {
		h.failed = err
		return
	}
	count := uint64(r.Len())
	e := entry{
		channel: lane.Name, first: r.Sequence, last: r.Sequence + count - 1, preceding: lane.Preceding(), count: count, bytes: bytes,
	}
	h.advance(&e)
	h.entries = append(h.entries, e)
	h.bytes += bytes.Len()
	h.evict()
	h.wake()
}

func (h *Hub) advance(e *entry) {
	end := h.lanes[e.channel]
	if end == nil {
		end = &laneEnd{first: e.first}
		h.lanes[e.channel] = end
	}
	end.count, end.last = e.preceding+e.count, e.last
	e.origin = end.first
}

// evict lets go of the oldest frames beyond the limit.
func (h *Hub) evict() {
	n := 0
	for h.bytes > h.limit && n < len(h.entries)-1 {
		h.bytes -= h.entries[n].bytes.Len()
		h.entries[n].bytes.Free()
		h.entries[n] = entry{}
		n++
	}
	h.entries = h.entries[n:]
	h.base += uint64(n)
}

func (h *Hub) wake() {
	for _, r := range h.readers {
		select {
		case r.woken <- struct{}{}:
		default:
		}
	}
}

// End says that no more will be published.
func (h *Hub) End() {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.ended = true
	h.wake()
}

// reader is a subscriber's place in a hub. It belongs to one goroutine.
type reader struct {
	hub      *Hub
	position uint64
	woken    chan struct{}
}

// subscribe makes a reader at the oldest retained frame or at what comes next, and tells how far each channel has come there.
func (h *Hub) subscribe(oldest bool) (r *reader, ends map[string]laneEnd) {
	h.mu.Lock()
	defer h.mu.Unlock()
	r = &reader{hub: h, position: h.base + uint64(len(h.entries)), woken: make(chan struct{}, 1)}
	if oldest {
		r.position = h.base
	}
	h.readers = append(h.readers, r)
	ends = map[string]laneEnd{}
	for channel, end := range h.lanes {
		ends[channel] = *end
	}
	return r, ends
}

func (r *reader) close() {
	r.hub.mu.Lock()
	defer r.hub.mu.Unlock()
	r.hub.readers = slices.DeleteFunc(r.hub.readers, func(other *reader) bool { return other == r })
}

// batch is how many frames a reader takes at once.
const batch = 16

// next waits for frames and gives the next few, each with a reference of the caller's own. more = false: the hub has ended and all was
// given; then nothing comes with it. Frames the reader was too slow for are passed over: their absence shows in entry.preceding.
func (r *reader) next(ctx context.Context, to []entry) (frames []entry, more bool, err error) {
	for {
		frames, ended, err := r.take(to)
		if err != nil || len(frames) > 0 || ended {
			return frames, !ended, err
		}
		select {
		case <-ctx.Done():
			return nil, false, ctx.Err()
		case <-r.woken:
		}
	}
}

func (r *reader) take(to []entry) (frames []entry, ended bool, err error) {
	h := r.hub
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.failed != nil {
		return nil, false, h.failed
	}
	r.position = max(r.position, h.base)
	first := int(r.position - h.base)
	last := min(len(h.entries), first+batch)
	frames = append(to[:0], h.entries[first:last]...)
	for i := range frames {
		frames[i].bytes.Ref()
	}
	r.position = h.base + uint64(last)
	return frames, h.ended && len(frames) == 0, nil
}

// ends tells how far a channel has come.
func (h *Hub) ends(channel string) (laneEnd, bool) {
	h.mu.Lock()
	defer h.mu.Unlock()
	end := h.lanes[channel]
	if end == nil {
		return laneEnd{}, false
	}
	return *end, true
}

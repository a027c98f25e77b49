package service

import (
	"context"
	"fmt"
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
	bytes   int     // of memory, held by entries
	lanes   map[string]*lane
	readers []*reader
	ended   bool
	closed  bool
	fault   error
}

// entry is one published frame.
type entry struct {
	channel     string
	epoch       uint64 // times compare within one only
	first, last uint64 // sequences
	from, to    int64  // device time of the first and of the last reading, ns
	preceding   uint64 // readings of the channel before it
	count       uint64
	origin      uint64 // sequence of the channel's first reading
	size        int    // bytes of memory
	bytes       mem.Buffer
}

// entryBytes is about what an entry costs beside its bytes.
const entryBytes = 128

// NewHub makes a hub that retains so many bytes of memory.
func NewHub(limit int) *Hub {
	return &Hub{limit: limit, encoder: newEncoder(), lanes: map[string]*lane{}}
}

// Publish takes one channel's readings. It encodes them once and wakes the subscribers; it waits for none of them. Readings that cannot be
// encoded are lost to the subscribers, who are told, and make the conductor unhealthy.
func (h *Hub) Publish(of *pipeline.Lane, r *scan.Readings) {
	count := uint64(r.Len())
	if count == 0 {
		return
	}
	h.mu.Lock()
	defer h.mu.Unlock()
	e := entry{
		channel: of.Name, epoch: r.Epoch, first: r.Sequence, last: r.Sequence + count - 1, preceding: of.Preceding(), count: count,
		from: r.At(0), to: r.At(r.Len() - 1),
	}
	h.advance(&e)
	bytes, size, err := h.encoder.encode(of, r)
	if err != nil {
		h.fault = fmt.Errorf("channel %q: readings %d to %d could not be encoded: %w", e.channel, e.first, e.last, err)
		return
	}
	e.bytes, e.size = bytes, size+entryBytes
	h.entries = append(h.entries, e)
	h.bytes += e.size
	h.evict()
	h.wake()
}

func (h *Hub) advance(e *entry) {
	l := h.lanes[e.channel]
	if l == nil {
		l = newLane(e)
		h.lanes[e.channel] = l
	}
	l.advance(e)
	e.origin = l.origin
}

// evict lets go of the oldest frames beyond the limit.
func (h *Hub) evict() {
	n := 0
	for h.bytes > h.limit && n < len(h.entries)-1 {
		e := &h.entries[n]
		h.lanes[e.channel].evicted = e.end()
		h.bytes -= e.size
		e.bytes.Free()
		*e = entry{}
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

// End says that no more will be published, since the conductor's devices have come to their end: subscribers' streams end well after
// what is left.
func (h *Hub) End() {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.ended = true
	h.wake()
}

// Close says that the daemon stops: subscribers' streams end after what is left with UNAVAILABLE, so that they come back, unless End
// was said before.
func (h *Hub) Close() {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.closed = true
	h.wake()
}

// Fault says which readings could not be encoded last; nil = all could.
func (h *Hub) Fault() error {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.fault
}

// verdict is what a stream ends with after what is left: nil if the devices have come to their end.
func (h *Hub) verdict() error {
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.ended {
		return nil
	}
	return errStopping
}

// reader is a subscriber's place in a hub. It belongs to one goroutine.
type reader struct {
	hub      *Hub
	position uint64
	woken    chan struct{}
}

// subscribe makes a reader at the oldest retained frame or at what comes next, and gives the place each channel has there.
func (h *Hub) subscribe(oldest bool) (r *reader, places map[string]place) {
	h.mu.Lock()
	defer h.mu.Unlock()
	r = &reader{hub: h, position: h.base + uint64(len(h.entries)), woken: make(chan struct{}, 1)}
	if oldest {
		r.position = h.base
	}
	h.readers = append(h.readers, r)
	places = map[string]place{}
	for channel, l := range h.lanes {
		places[channel] = l.newest
		if oldest {
			places[channel] = l.evicted
		}
	}
	return r, places
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
		frames, more := r.take(to)
		if len(frames) > 0 || !more {
			return frames, more, nil
		}
		select {
		case <-ctx.Done():
			return nil, false, ctx.Err()
		case <-r.woken:
		}
	}
}

func (r *reader) take(to []entry) (frames []entry, more bool) {
	h := r.hub
	h.mu.Lock()
	defer h.mu.Unlock()
	r.position = max(r.position, h.base)
	first := int(r.position - h.base)
	last := min(len(h.entries), first+batch)
	frames = append(to[:0], h.entries[first:last]...)
	for i := range frames {
		frames[i].bytes.Ref()
	}
	r.position = h.base + uint64(last)
	return frames, len(frames) > 0 || !h.ended && !h.closed
}

// newest tells how far a channel has come; false = it has not begun.
func (h *Hub) newest(channel string) (end place, origin uint64, begun bool) {
	h.mu.Lock()
	defer h.mu.Unlock()
	l := h.lanes[channel]
	if l == nil {
		return place{}, 0, false
	}
	return l.newest, l.origin, true
}

// missing counts the readings of a channel from a sequence up to a place behind it.
func (h *Hub) missing(channel string, sequence uint64, end place) uint64 {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.lanes[channel].missing(sequence, end)
}

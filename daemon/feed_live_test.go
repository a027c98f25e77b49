package daemon_test

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"sync"
	"testing"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// breaking is a rig whose connection breaks again and again, and that goes on where the daemon is, or leaves out what it lost meanwhile.
type breaking struct {
	t      *testing.T
	s      *served
	random *rand.Rand
	rig    bench
	lost   map[uint64]uint64 // by the rig's sequence of the first one left out: how many
	breaks int
}

// TestEveryScanOnceOrInAGap breaks a rig's connection 50 times while it sends ahead, in ways and at moments of chance. A subscriber gets every scan exactly
// once, but those that the rig says are lost; and the statement counts the same.
func TestEveryScanOnceOrInAGap(t *testing.T) {
	times := 50
	if *full {
		times = 1000
	}
	c, _ := load(t, fed("live", ""))
	s := serve(t, c)
	b := &breaking{t: t, s: s, random: rand.New(rand.NewPCG(5, 5)), rig: bench{first: 777}, lost: map[uint64]uint64{}}
	subscribed := subscribe(s)
	for range times {
		b.once(false)
	}
	b.once(true)
	l := subscribed.until(t, b.rig.first-777)
	var lost uint64
	for _, n := range b.lost {
		lost += n
	}
	scans := b.rig.first - 777 - lost
	t.Logf("%d breaks, %d scans, %d lost in %d places", b.breaks, scans, lost, len(b.lost))
	if b.breaks < times || lost == 0 {
		t.Error("it shows nothing")
	}
	holes := map[uint64]uint64{}
	for first, n := range b.lost {
		holes[first-777] = n
	}
	for _, channel := range []string{"shunt", "meter"} {
		if n := uint64(l.readings[channel]); n != scans {
			t.Errorf("%s: a subscriber got %d readings of %d", channel, n, scans)
		}
	}
	if diff := differ(holes, l.holes); diff != "" {
		t.Errorf("the holes a subscriber saw are not those the rig made: %s", diff)
	}
	statement, err := s.Charge.GetStatement(s.ctx, &ampledgerv1.GetStatementRequest{Conductor: "pack"})
	if err != nil {
		t.Fatal(err)
	}
	for _, a := range statement.GetAccounts() {
		if a.GetReadingCount() != scans || a.GetUnusable().GetLostCount() != lost || a.GetGaps().GetGapCount() != uint64(len(holes)) {
			t.Errorf("%s: the statement counts %d readings, %d lost, %d gaps", a.GetChannel(), a.GetReadingCount(), a.GetUnusable().GetLostCount(), a.GetGaps().GetGapCount())
		}
	}
}

// differ says where two maps differ.
func differ(want, got map[uint64]uint64) string {
	for first, n := range want {
		if got[first] != n {
			return fmt.Sprintf("%d from %d on, got %d", n, first, got[first])
		}
	}
	if len(got) != len(want) {
		return fmt.Sprintf("%d, not %d", len(got), len(want))
	}
	return ""
}

// subscriber follows the pack's readings in a goroutine of its own until it is stopped.
type subscriber struct {
	*ledgered
	mu   sync.Mutex
	some chan struct{} // an item came
	end  context.CancelFunc
	over chan error
}

func subscribe(s *served) *subscriber {
	ctx, end := context.WithCancel(s.ctx)
	l := &ledgered{next: map[string]uint64{}, readings: map[string]int{}, holes: map[uint64]uint64{}}
	f := &subscriber{ledgered: l, some: make(chan struct{}, 1), end: end, over: make(chan error, 1)}
	go func() {
		f.over <- s.FollowReadings(ctx, &ampledgerv1.StreamReadingsRequest{Conductor: "pack", FromOldest: true}, func(item *ampledgerv1.StreamReadingsResponse) error {
			f.mu.Lock()
			defer f.mu.Unlock()
			select {
			case f.some <- struct{}{}:
			default:
			}
			return f.take(item)
		})
	}()
	return f
}

// until waits until both channels have come to the reading before a sequence, and ends.
func (f *subscriber) until(t *testing.T, next uint64) *ledgered {
	t.Helper()
	reached := func() bool {
		f.mu.Lock()
		defer f.mu.Unlock()
		return f.next["shunt"] >= next && f.next["meter"] >= next
	}
	for !reached() {
		select {
		case <-f.some:
		case err := <-f.over:
			t.Fatal(err)
		}
	}
	f.end()
	if err := <-f.over; status.Code(err) != codes.Canceled {
		t.Errorf("the subscriber ended with %v", err)
	}
	for _, fault := range f.faults {
		t.Error(fault)
	}
	return f.ledgered
}

// once connects, sends some frames and breaks off, or with last = true leaves well when all have gone through.
func (b *breaking) once(last bool) {
	b.t.Helper()
	ctx, breakOff := context.WithCancel(b.s.ctx)
	defer breakOff()
	stream, err := b.s.Feeds.Feed(ctx)
	if err != nil {
		b.t.Fatal(err)
	}
	b.send(stream, &ampledgerv1.FeedRequest{Item: &ampledgerv1.FeedRequest_Hello{Hello: &ampledgerv1.FeedHello{Device: "bench", Rig: "alpha", Session: "one"}}})
	response, err := stream.Recv()
	if err != nil {
		b.t.Fatal(err)
	}
	if w := response.GetWelcome(); w.GetResumed() {
		b.resume(w.GetNextSequence())
	}
	frames := 1 + b.random.IntN(20)
	for range frames {
		frame := b.rig.frame(1 + b.random.IntN(100))
		b.send(stream, &ampledgerv1.FeedRequest{Item: &ampledgerv1.FeedRequest_Frame{Frame: frame}})
	}
	answers := b.random.IntN(frames + 1)
	if last {
		answers = frames
	}
	for range answers {
		if _, err := stream.Recv(); err != nil {
			b.t.Fatal(err)
		}
	}
	b.breaks++
	if !last && b.random.IntN(4) > 0 {
		return // in the middle of it
	}
	if err := stream.CloseSend(); err != nil {
		b.t.Fatal(err)
	}
	for err == nil {
		_, err = stream.Recv()
	}
	if !errors.Is(err, io.EOF) {
		b.t.Errorf("a rig that was done ended with %v", err)
	}
}

// resume goes on where the daemon is, or leaves some out. What the rig left out itself before, and the daemon did not hear of, it may send now.
func (b *breaking) resume(next uint64) {
	if next > b.rig.first || next > 0 && next < 777 {
		b.t.Fatalf("sequence %d is expected, the rig has made those up to %d", next, b.rig.first)
	}
	next = max(next, 777) // 0 = the daemon has nothing yet
	for first := range b.lost {
		if first >= next {
			delete(b.lost, first)
		}
	}
	b.rig.first = next
	if next > 777 && b.random.IntN(3) == 0 {
		n := 1 + uint64(b.random.IntN(5000))
		b.lost[next] = n
		b.rig.first += n
	}
}

// send sends a message; gRPC says where messages are received why it cannot.
func (b *breaking) send(stream interface {
	Send(*ampledgerv1.FeedRequest) error
}, request *ampledgerv1.FeedRequest) {
	b.t.Helper()
	if err := stream.Send(request); err != nil && status.Code(err) != codes.Unknown {
		b.t.Fatal(err)
	}
}

package service

import (
	"context"
	"errors"
	"math"
	"sync"
	"testing"
	"testing/synctest"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// TestStart begins at every kind of place in what is retained: 1000 to 1009 are evicted, 1010 to 1019 and 1030 to 1039 retained; the
// device never gave 1020 to 1029.
func TestStart(t *testing.T) {
	lost := func(first, last, count uint64) *ampledgerv1.Lost {
		return &ampledgerv1.Lost{Channel: "a", FirstSequence: first, LastSequence: last, ReadingCount: count}
	}
	for name, row := range map[string]struct {
		request *ampledgerv1.StreamReadingsRequest
		lost    *ampledgerv1.Lost
		first   uint64
	}{
		"live":                             {&ampledgerv1.StreamReadingsRequest{}, nil, 1040},
		"oldest retained":                  {&ampledgerv1.StreamReadingsRequest{FromOldest: true}, nil, 1010},
		"evicted":                          {&ampledgerv1.StreamReadingsRequest{FromSequence: proto.Uint64(1004)}, lost(1004, 1009, 6), 1010},
		"at a frame":                       {&ampledgerv1.StreamReadingsRequest{FromSequence: proto.Uint64(1010)}, nil, 1010},
		"within a frame":                   {&ampledgerv1.StreamReadingsRequest{FromSequence: proto.Uint64(1013)}, nil, 1013},
		"where the device lost readings":   {&ampledgerv1.StreamReadingsRequest{FromSequence: proto.Uint64(1025)}, nil, 1030},
		"next":                             {&ampledgerv1.StreamReadingsRequest{FromSequence: proto.Uint64(1040)}, nil, 1040},
		"yet to come":                      {&ampledgerv1.StreamReadingsRequest{FromSequence: proto.Uint64(1045)}, nil, 1045},
		"before the daemon's first":        {&ampledgerv1.StreamReadingsRequest{FromSequence: proto.Uint64(990)}, lost(990, 1009, 20), 1010},
		"0, which asks for all there was":  {&ampledgerv1.StreamReadingsRequest{FromSequence: proto.Uint64(0)}, lost(0, 1009, 1010), 1010},
		"beyond all that the device gives": {&ampledgerv1.StreamReadingsRequest{FromSequence: proto.Uint64(5000)}, nil, 0},
	} {
		t.Run(name, func(t *testing.T) {
			f := newFeed(t, 2*(frameBytes+entryBytes), "a")
			f.publish("a", 0, 10)
			f.publish("a", 0, 10)
			f.publish("a", 10, 10)
			s := f.subscribe(row.request)
			if err := s.step(); err != nil {
				t.Fatal(err)
			}
			f.publish("a", 0, 10)
			f.hub.End()
			if err := s.run(t.Context()); err != nil {
				t.Fatal(err)
			}
			items := s.inbox.items
			if row.lost != nil {
				if !proto.Equal(items[0].GetLost(), row.lost) {
					t.Fatalf("got %v, want lost %v", items[0], row.lost)
				}
				items = items[1:]
			}
			if row.first == 0 {
				if len(items) != 0 {
					t.Errorf("got %v", items)
				}
				return
			}
			if f := items[0].GetFrame(); f.GetFirstSequence() != row.first || f.GetCurrentAmperes()[0] != float64(row.first) {
				t.Errorf("the first reading is %d, want %d", f.GetFirstSequence(), row.first)
			}
			if err := f.pool.check(f.hub); err != nil {
				t.Error(err)
			}
		})
	}
}

// TestLostAtTheEnd tells a subscriber at the end of the stream what became of a channel that is no longer retained at all.
func TestLostAtTheEnd(t *testing.T) {
	f := newFeed(t, 0, "a", "b")
	live := f.subscribe(&ampledgerv1.StreamReadingsRequest{})
	f.publish("a", 0, 5)
	from := f.subscribe(&ampledgerv1.StreamReadingsRequest{FromSequence: proto.Uint64(1002)})
	oldest := f.subscribe(&ampledgerv1.StreamReadingsRequest{FromOldest: true})
	f.publish("b", 0, 5)
	f.hub.End()
	for name, row := range map[string]struct {
		s    *subscriber
		want uint64
	}{"live": {live, 5}, "from a sequence": {from, 3}, "oldest": {oldest, 5}} {
		if err := row.s.run(t.Context()); err != nil {
			t.Fatal(err)
		}
		if lost, err := f.check(row.s); err != nil || lost != row.want {
			t.Errorf("%s: %d lost (%v), want %d", name, lost, err, row.want)
		}
	}
}

// TestForgottenRuns asks for sequences so old that the hub no longer knows which of them had readings: none is passed over in silence.
func TestForgottenRuns(t *testing.T) {
	f := newFeed(t, 0, "a")
	const frames, forgotten = keptRuns + 10, keptRuns / 4
	for range frames {
		f.publish("a", 1, 1) // reading n is 1001 + 2n
	}
	for from, want := range map[uint64]uint64{
		1000:                   2*forgotten + 1 + frames - forgotten - 1, // each forgotten sequence, then each reading but the newest
		1001 + 2*forgotten:     frames - forgotten - 1,
		1001 + 2*forgotten + 1: frames - forgotten - 2,
		1001 + 2*(frames-6):    5,
	} {
		s := f.subscribe(&ampledgerv1.StreamReadingsRequest{FromSequence: &from})
		if err := s.step(); err != nil {
			t.Fatal(err)
		}
		if got := s.inbox.items[0].GetLost().GetReadingCount(); got != want {
			t.Errorf("from %d: %d lost, want %d", from, got, want)
		}
	}
	everything := newFeed(t, math.MaxInt, "a")
	for range frames {
		everything.publish("a", 1, 1)
	}
	s := everything.subscribe(&ampledgerv1.StreamReadingsRequest{FromSequence: proto.Uint64(1000)})
	if err := s.step(); err != nil || s.inbox.items[0].GetLost().GetReadingCount() != 1 {
		t.Errorf("%v, got %v: only 1000 can have been missed", err, s.inbox.items[0])
	}
}

// TestGoneSubscriber fails to send at each possible place: every reference is given back all the same.
func TestGoneSubscriber(t *testing.T) {
	for _, request := range []*ampledgerv1.StreamReadingsRequest{
		{FromOldest: true}, {FromSequence: proto.Uint64(1001)}, {FromSequence: proto.Uint64(1013)}, {FromOldest: true, MaxRateHertz: 1000},
	} {
		for room := range 8 {
			f := newFeed(t, 3*(frameBytes+entryBytes), "a")
			for range 3 {
				f.publish("a", 0, 10)
			}
			s := f.subscribe(request)
			f.publish("a", 0, 10) // evicts the first
			s.inbox.room = room
			f.hub.Close()
			err := s.run(t.Context())
			if status.Code(err) != codes.Unavailable && !errors.Is(err, errGone) {
				t.Errorf("%v with room for %d: %v", request, room, err)
			}
			for range 5 { // until nothing of what was being sent is retained
				f.publish("a", 0, 10)
			}
			if err := f.pool.check(f.hub); err != nil {
				t.Errorf("%v with room for %d: %v", request, room, err)
			}
		}
	}
}

// TestConcurrentSubscribers lets many follow at full speed while the window is far too small for them; no frame waits for any.
func TestConcurrentSubscribers(t *testing.T) {
	f := newFeed(t, 20*(frameBytes+entryBytes), "a", "b")
	var readers sync.WaitGroup
	var all []*subscriber
	for range 8 {
		s := f.subscribe(&ampledgerv1.StreamReadingsRequest{})
		for _, channel := range []string{"a", "b"} {
			s.start[channel] = 0
		}
		all = append(all, s)
		readers.Go(func() {
			if err := s.run(context.Background()); err != nil {
				t.Error(err)
			}
		})
	}
	for n := range 3000 {
		f.publish([]string{"a", "b"}[n%2], n%7/6, 3)
	}
	f.hub.End()
	readers.Wait()
	for _, s := range all {
		if _, err := f.check(s); err != nil {
			t.Error(err)
		}
	}
	if err := f.pool.check(f.hub); err != nil || f.pool.encodes != 3000 {
		t.Errorf("%v, %d frames were encoded for 3000", err, f.pool.encodes)
	}
}

// TestWaiting wakes a subscriber that has nothing to do for each of its reasons, and for no other.
func TestWaiting(t *testing.T) {
	for name, row := range map[string]struct {
		wake func(*feed, context.CancelFunc)
		code codes.Code
	}{
		"the devices end":       {func(f *feed, _ context.CancelFunc) { f.hub.End() }, codes.OK},
		"the daemon stops":      {func(f *feed, _ context.CancelFunc) { f.hub.Close() }, codes.Unavailable},
		"ended, then stops":     {func(f *feed, _ context.CancelFunc) { f.hub.End(); f.hub.Close() }, codes.OK},
		"the subscriber leaves": {func(_ *feed, cancel context.CancelFunc) { cancel() }, codes.Canceled},
	} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				f := newFeed(t, math.MaxInt, "a")
				ctx, cancel := context.WithCancel(t.Context())
				defer cancel()
				s := f.subscribe(&ampledgerv1.StreamReadingsRequest{})
				ended := make(chan error, 1)
				go func() { ended <- s.run(ctx) }()
				for n := range 40 {
					synctest.Wait()
					if len(s.inbox.items) != n || len(ended) != 0 {
						t.Fatalf("%d items after %d frames", len(s.inbox.items), n)
					}
					f.publish("a", 0, 1)
				}
				synctest.Wait()
				row.wake(f, cancel)
				if err := <-ended; status.Code(err) != row.code {
					t.Errorf("ended with %v, want %v", err, row.code)
				}
			})
		})
	}
}

// TestUnencodable publishes what no message can hold: it is lost, with its count, and the hub says so.
func TestUnencodable(t *testing.T) {
	f := newFeed(t, math.MaxInt, "a")
	s := f.subscribe(&ampledgerv1.StreamReadingsRequest{})
	for _, estimator := range []string{"fine", "\xff", "fine"} {
		f.estimator = estimator
		f.publish("a", 0, 10)
	}
	f.hub.End()
	if err := s.run(t.Context()); err != nil {
		t.Fatal(err)
	}
	if lost := s.inbox.items[1].GetLost(); lost.GetFirstSequence() != 1010 || lost.GetReadingCount() != 10 || f.hub.Fault() == nil {
		t.Errorf("lost %v, fault %v", lost, f.hub.Fault())
	}
	if err := f.pool.check(f.hub); err != nil || len(f.hub.entries) != 2 {
		t.Errorf("%v, %d frames are retained, want 2", err, len(f.hub.entries))
	}
}

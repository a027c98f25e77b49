package service

import (
	"context"
	"fmt"
	"math"
	"slices"
	"testing"

	"google.golang.org/protobuf/proto"
	"pgregory.net/rapid"

	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// subscriber is a subscription with what it got and what the slow model says it must get.
type subscriber struct {
	*subscription
	inbox *inbox
	from  *uint64
	start map[string]int // place in feed.fed where its readings begin, if it asked for no sequence
}

// subscribe begins a subscription. The model looks at what is retained frame by frame.
func (f *feed) subscribe(request *ampledgerv1.StreamReadingsRequest) *subscriber {
	s := &subscriber{inbox: &inbox{room: math.MaxInt}, from: request.FromSequence, start: map[string]int{}}
	for channel, fed := range f.fed {
		s.start[channel] = len(fed)
		for _, e := range slices.Backward(f.hub.entries) {
			if e.channel == channel && request.GetFromOldest() {
				s.start[channel], _ = slices.BinarySearch(fed, e.first)
			}
		}
	}
	s.subscription = newSubscription(f.hub, f.lanes(), request, s.inbox)
	return s
}

// step sends at most one batch.
func (s *subscriber) step() error {
	frames, _ := s.reader.take(nil)
	return s.sendAll(frames)
}

// check holds what a subscriber got against what was fed: from its start on each reading once, in order, as a reading or in exactly
// one Lost whose count is exact. lost is how many were lost.
func (f *feed) check(s *subscriber) (lost uint64, err error) {
	at := map[string]int{}
	for channel := range f.fed {
		at[channel] = s.start[channel]
		if s.from != nil {
			at[channel], _ = slices.BinarySearch(f.fed[channel], *s.from)
		}
	}
	for _, item := range s.inbox.items {
		if l := item.GetLost(); l != nil {
			fed := f.fed[l.GetChannel()]
			first, _ := slices.BinarySearch(fed, l.GetFirstSequence())
			behind, _ := slices.BinarySearch(fed, l.GetLastSequence()+1)
			count := uint64(behind - first)
			if l.GetFirstSequence() < fed[0] {
				count += fed[0] - l.GetFirstSequence() // nobody knows how many of those there were
			}
			if first != at[l.GetChannel()] || count != l.GetReadingCount() || count == 0 {
				return 0, fmt.Errorf("lost %v: those are readings %d to %d of the channel, %d was due", l, first, behind, at[l.GetChannel()])
			}
			at[l.GetChannel()], lost = behind, lost+uint64(behind-first)
			continue
		}
		frame := item.GetFrame()
		if frame.GetPrecedingCount() != uint64(at[frame.GetChannel()]) {
			return 0, fmt.Errorf("%s: frame with reading %d came, %d was due", frame.GetChannel(), frame.GetPrecedingCount(), at[frame.GetChannel()])
		}
		for k, amperes := range frame.GetCurrentAmperes() {
			sequence := f.fed[frame.GetChannel()][at[frame.GetChannel()]]
			if amperes != float64(sequence) || frame.GetFirstSequence()+uint64(k) != sequence || timeAt(frame, k) != int64(sequence)*1e6 {
				return 0, fmt.Errorf("%s: reading %v at place %d came as %d", frame.GetChannel(), amperes, at[frame.GetChannel()], sequence)
			}
			at[frame.GetChannel()]++
		}
	}
	for channel, fed := range f.fed {
		if at[channel] != len(fed) {
			return 0, fmt.Errorf("%s: %d of %d readings are accounted for", channel, at[channel], len(fed))
		}
	}
	return lost, nil
}

// TestSubscribers lets subscribers of every kind, each at its own pace, follow channels whose devices lose scans, at every size of the
// retained window.
func TestSubscribers(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		channels := []string{"a", "b", "c"}[:rapid.IntRange(1, 3).Draw(t, "channels")]
		frames := rapid.SampledFrom([]int{0, 1, 3, 10, 1000}).Draw(t, "frames retained")
		f := newFeed(t, frames*(frameBytes+entryBytes), channels...)
		var all []*subscriber
		t.Repeat(map[string]func(*rapid.T){
			"publish": func(t *rapid.T) {
				for range rapid.IntRange(1, 5).Draw(t, "frames") {
					skip := rapid.SampledFrom([]int{0, 0, 0, 1, 7}).Draw(t, "skip")
					f.publish(rapid.SampledFrom(channels).Draw(t, "channel"), skip, rapid.IntRange(1, 6).Draw(t, "count"))
				}
			},
			"subscribe": func(t *rapid.T) {
				request := &ampledgerv1.StreamReadingsRequest{}
				switch rapid.SampledFrom([]string{"live", "oldest", "sequence"}).Draw(t, "start") {
				case "oldest":
					request.FromOldest = true
				case "sequence":
					request.FromSequence = proto.Uint64(rapid.Uint64Range(1000, 1100).Draw(t, "from"))
				}
				all = append(all, f.subscribe(request))
			},
			"read": func(t *rapid.T) {
				for _, s := range all {
					if rapid.Bool().Draw(t, "reads") {
						if err := s.step(); err != nil {
							t.Fatal(err)
						}
					}
				}
			},
			"": func(t *rapid.T) {
				if len(f.hub.entries) > max(1, frames) {
					t.Fatalf("%d frames are retained, %d at most were asked for", len(f.hub.entries), frames)
				}
			},
		})
		f.hub.End()
		for i, s := range all {
			if err := s.run(context.Background()); err != nil {
				t.Fatalf("the stream of ended devices ends with %v", err)
			}
			s.close()
			if lost, err := f.check(s); err != nil {
				t.Fatalf("subscriber %d: %v", i, err)
			} else if lost > 0 && frames == 1000 {
				t.Fatalf("subscriber %d lost %d readings that are all retained", i, lost)
			}
		}
		if err := f.pool.check(f.hub); err != nil || len(f.hub.readers) != 0 {
			t.Fatalf("%v, %d readers left", err, len(f.hub.readers))
		}
	})
}

package client_test

import (
	"context"
	"errors"
	"testing"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	"github.com/ampledger/ampledger/daemon/service/servicetest"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// ledger counts each channel's readings: every one once, in order, as a reading or as lost.
type ledger struct {
	t        *testing.T
	next     map[string]uint64
	lost     map[string]uint64
	coulombs map[string]float64 // of buckets
}

func newLedger(t *testing.T) *ledger {
	return &ledger{t, map[string]uint64{}, map[string]uint64{}, map[string]float64{}}
}

func (l *ledger) take(item *readingsItem) {
	l.t.Helper()
	channel, first, behind := "", uint64(0), uint64(0)
	switch {
	case item.GetFrame() != nil:
		f := item.GetFrame()
		channel, first, behind = f.GetChannel(), f.GetFirstSequence(), f.GetFirstSequence()+uint64(len(f.GetCurrentAmperes()))
	case item.GetBucket() != nil:
		b := item.GetBucket()
		channel, first, behind = b.GetChannel(), b.GetFirstSequence(), b.GetLastSequence()+1
		l.coulombs[channel] += b.GetMeanAmperes() * float64(b.GetDurationNanos()) / 1e9
	default:
		lost := item.GetLost()
		channel, first, behind = lost.GetChannel(), lost.GetFirstSequence(), lost.GetLastSequence()+1
		l.lost[channel] += lost.GetReadingCount()
		if lost.GetReadingCount() != behind-first {
			l.t.Errorf("lost %v, which is not what its sequences hold", lost)
		}
	}
	if first != l.next[channel] {
		l.t.Errorf("%s: %d came, %d was due", channel, first, l.next[channel])
	}
	l.next[channel] = behind
}

// takeUntil takes items until each of the channels has all readings before a sequence.
func (l *ledger) takeUntil(f *following[readingsItem], sequence uint64, channels ...string) {
	l.t.Helper()
	for _, channel := range channels {
		for l.next[channel] < sequence {
			l.take(f.next())
		}
	}
}

// TestResumeReadings breaks the connection of a follower again and again, wherever it just is.
func TestResumeReadings(t *testing.T) {
	for name, row := range map[string]struct {
		request  *readingsRequest
		channels []string
	}{
		"one channel":              {&readingsRequest{Conductor: "pack", Channels: []string{"hall"}, FromOldest: true}, []string{"hall"}},
		"all channels":             {&readingsRequest{Conductor: "pack", FromOldest: true}, []string{"shunt", "hall"}},
		"both channels, from 0":    {&readingsRequest{Conductor: "pack", Channels: []string{"hall", "shunt"}, FromSequence: proto.Uint64(0)}, []string{"shunt", "hall"}},
		"reduced":                  {&readingsRequest{Conductor: "pack", FromOldest: true, MaxRateHertz: 0.9}, []string{"shunt", "hall"}},
		"a channel of two devices": {&readingsRequest{Conductor: "string", Channels: []string{"left"}, FromOldest: true}, []string{"left"}},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			d := newDaemon(t, servicetest.Retained)
			d.Feed("adc0", 55)
			d.start()
			f, l := follow(t, d.dial().FollowReadings, row.request), newLedger(t)
			for broken := range 3 {
				for range 2*broken + 1 { // an odd number: one channel is ahead of the other
					l.take(f.next())
				}
				d.stop()
				d.Feed("adc0", 55)
				d.start()
			}
			l.takeUntil(f, 200, row.channels...)
			d.End("adc0")
			d.End("adc1")
			items, err := f.rest()
			for _, item := range items {
				l.take(item)
			}
			if err != nil {
				t.Errorf("ended with %v", err)
			}
			for _, channel := range row.channels {
				if l.next[channel] != 220 || l.lost[channel] != 0 {
					t.Errorf("%s: %d readings of 220, %d lost", channel, l.next[channel], l.lost[channel])
				}
				// The integral of n amperes at 10 readings a second.
				if c := l.coulombs[channel]; row.request.GetMaxRateHertz() > 0 && (c < 2398.04 || c > 2398.06) {
					t.Errorf("%s: the buckets hold %v C, want 2398.05", channel, c)
				}
			}
		})
	}
}

// TestResumeLost comes back after more went by than the daemon retains: what is missing is told, for each channel from where it was.
func TestResumeLost(t *testing.T) {
	for name, request := range map[string]*readingsRequest{
		"every reading": {Conductor: "pack", FromOldest: true},
		"reduced":       {Conductor: "pack", FromOldest: true, MaxRateHertz: 0.9},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			d := newDaemon(t, 4000) // a dozen frames
			d.Feed("adc0", 20)
			d.start()
			f, l := follow(t, d.dial().FollowReadings, request), newLedger(t)
			l.take(f.next())
			d.stop()
			d.Feed("adc0", 1000)
			d.start()
			l.takeUntil(f, 1000, "shunt", "hall")
			for _, channel := range []string{"shunt", "hall"} {
				if lost := l.lost[channel]; lost < 900 || lost > 1000 {
					t.Errorf("%s: %d lost", channel, lost)
				}
			}
			f.leave()
			if _, err := f.rest(); err == nil {
				t.Error("ended well though the caller left")
			}
		})
	}
}

// TestStopping goes on after a daemon that stopped in order, as after one that fell over.
func TestStopping(t *testing.T) {
	d := newDaemon(t, servicetest.Retained)
	d.start()
	d.Feed("adc0", 10)
	f, l := follow(t, d.dial().FollowReadings, &readingsRequest{Conductor: "pack", FromOldest: true}), newLedger(t)
	l.takeUntil(f, 10, "shunt", "hall")
	d.Conductor("pack").Hub.Close()
	d.Feed("adc0", 10) // while the follower is told to come back
	l.takeUntil(f, 20, "shunt", "hall")
}

// TestTakeFails ends the following with the caller's own error, even one that looks like the daemon's, and the stream with it.
func TestTakeFails(t *testing.T) {
	d := newDaemon(t, servicetest.Retained)
	d.start()
	d.Feed("adc0", 10)
	for _, want := range []error{errors.New("the disk is full"), status.Error(codes.Unavailable, "somebody else's")} {
		calls := 0
		err := d.dial().FollowReadings(t.Context(), &readingsRequest{Conductor: "pack", FromOldest: true}, func(*readingsItem) error {
			calls++
			return want
		})
		if !errors.Is(err, want) || calls != 1 {
			t.Errorf("ended with %v after %d items", err, calls)
		}
	}
}

// TestRefused hands the daemon's refusal on, and does not try again.
func TestRefused(t *testing.T) {
	d := newDaemon(t, servicetest.Retained)
	d.start()
	c := d.dial()
	never := func(item *readingsItem) error { return errors.New("an item came") }
	if err := c.FollowReadings(t.Context(), &readingsRequest{Conductor: "tail"}, never); status.Code(err) != codes.NotFound {
		t.Errorf("unknown conductor: %v", err)
	}
	// Over a break, channels of two devices have no sequence to go on at.
	d.Feed("adc0", 10)
	f := follow(t, c.FollowReadings, &readingsRequest{Conductor: "string", FromOldest: true})
	f.next()
	d.stop()
	d.start()
	if _, err := f.rest(); status.Code(err) != codes.InvalidArgument {
		t.Errorf("two devices: %v", err)
	}
}

// TestLeave ends with the caller's context, while items come and while the daemon is away.
func TestLeave(t *testing.T) {
	d := newDaemon(t, servicetest.Retained)
	away := follow(t, d.dial().FollowReadings, &readingsRequest{Conductor: "pack"})
	away.leave()
	if _, err := away.rest(); status.Code(err) != codes.Canceled {
		t.Errorf("while the daemon is away: %v", err)
	}
	d.start()
	ctx, cancel := context.WithCancel(t.Context())
	d.Feed("adc0", 10)
	err := d.dial().FollowReadings(ctx, &readingsRequest{Conductor: "pack", FromOldest: true, Channels: []string{"hall"}}, func(*readingsItem) error {
		cancel()
		return nil
	})
	if status.Code(err) != codes.Canceled {
		t.Errorf("while items come: %v", err)
	}
}

// TestResumeEvents breaks the connection of a follower of events: each change is recorded once, in the order of the log.
func TestResumeEvents(t *testing.T) {
	d := newDaemon(t, servicetest.Retained)
	abuse := func() {
		d.FeedAmperes("adc0", 1, 150, 150, 1) // an event with three changes
		d.Flush()
	}
	abuse()
	d.start()
	from := uint64(0)
	request := &ampledgerv1.StreamEventsRequest{Conductor: "pack", AfterLogSequence: &from}
	f := follow(t, d.dial().FollowEvents, request)
	next := uint64(1)
	takeUntil := func(log uint64) {
		for next <= log {
			if item := f.next(); item.GetDelivery() == ampledgerv1.Delivery_DELIVERY_RECORDED {
				if item.GetEvent().GetLogSequence() != next {
					t.Fatalf("change %d came, %d was due", item.GetEvent().GetLogSequence(), next)
				}
				next++
			}
		}
	}
	for log := uint64(2); log < 10; log += 3 {
		takeUntil(log)
		d.stop()
		abuse()
		d.start()
	}
	takeUntil(12)
	if request.GetAfterLogSequence() != 0 {
		t.Error("the caller's request was changed")
	}
}

// TestAway is told that the daemon is away once a break, however often it is tried again, and that it is back.
func TestAway(t *testing.T) {
	t.Parallel()
	d := newDaemon(t, servicetest.Retained)
	d.Feed("adc0", 10)
	d.start()
	c := d.dial()
	told := make(chan error, 10)
	c.Away = func(reason error) { told <- reason }
	f := follow(t, c.FollowReadings, &readingsRequest{Conductor: "pack", Channels: []string{"hall"}, FromOldest: true})
	f.next()
	for range 2 {
		d.stop()
		if reason := <-told; status.Code(reason) != codes.Unavailable {
			t.Errorf("away because of %v", reason)
		}
		d.start()
		if reason := <-told; reason != nil {
			t.Errorf("told %v, the daemon is back", reason)
		}
		d.Feed("adc0", 10)
		f.next()
	}
	if len(told) > 0 {
		t.Errorf("told %v besides", <-told)
	}
	d.End("adc0")
	d.End("adc1")
	if _, err := f.rest(); err != nil {
		t.Errorf("ended with %v", err)
	}
}

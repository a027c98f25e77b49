package can

import (
	"context"
	"errors"
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"

	"github.com/ampledger/ampledger/plugins/driver/drivertest"
	"github.com/ampledger/ampledger/plugins/plugin"
)

var errEnough = errors.New("enough")

// listenFor listens until a number of scans have come.
func listenFor(t testing.TB, d *Driver, scans int) (frames []*plugin.Frame, err error) {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	defer cancel()
	err = d.Stream(ctx, func(f *plugin.Frame) error {
		frames = append(frames, proto.CloneOf(f))
		if scans -= int(f.ScanCount); scans <= 0 {
			return errEnough
		}
		return nil
	})
	if errors.Is(err, errEnough) {
		err = nil
	}
	return frames, err
}

func TestConformanceLive(t *testing.T) {
	b := newBus(t)
	b.each(2*time.Millisecond, func(i int) {
		b.sendFrame(frameOf(0x123, byte(i), byte(i>>8), byte(i)))
		b.sendFrame(frameOf(0x200, make([]byte, 12)...))
	})
	d := one(0x123, with{"bytes": 3, "counter": with{"start_bit": 16, "length": 8}}, signal("pack", 0, nil)).
		message(0x200, with{"bytes": 12}, signal("ambient", 64, with{"unit": "Cel", "hold_seconds": 1}))
	drivertest.Run(t, func() plugin.Driver { return b.driver() }, d.and(with{"interface": "can0"}))
}

// Frames have the time at which they came, not that at which they were read: these wait in the kernel until all have come.
func TestFramesHaveTheKernelsTime(t *testing.T) {
	const frames = 5
	b := newBus(t)
	b.warm()
	var before, after [frames]int64
	d, said := heard()
	d.dial = b.dial
	mustConfigure(t, d, one(0x100, with{"bytes": 2}, signal("pack", 0, nil)).and(with{"interface": "can0"}))
	b.open = func() {
		tick := time.NewTicker(10 * time.Millisecond)
		defer tick.Stop()
		for i := range frames {
			before[i] = boot(t)
			b.sendFrame(frameOf(0x100, byte(i), 0))
			after[i] = boot(t)
			<-tick.C
		}
	}
	got, err := listenFor(t, d, frames)
	if err != nil {
		t.Fatal(err)
	}
	i := 0
	for _, f := range got {
		wall := time.Unix(0, f.FirstWallNanos)
		if off := time.Since(wall); off < 0 || off > time.Minute {
			t.Errorf("the wall clock's time is %v", wall)
		}
		for _, offset := range f.OffsetNanos {
			// The two clocks are read one after the other, so what they are apart is known to some hundred nanoseconds, or to what the reading took.
			at, slack := f.FirstMonotonicNanos+offset, int64(500_000)
			if at < before[i]-slack || at > after[i]+slack {
				t.Errorf("frame %d has the time %d, it was sent between %d and %d", i, at, before[i], after[i])
			}
			i++
		}
	}
	if i != frames || said.Len() > 0 {
		t.Errorf("%d scans, said %q", i, said)
	}
}

// Frames for which the kernel has no room are lost, and are a jump of the sequence as long as they were many.
func TestFramesTheKernelHasNoRoomFor(t *testing.T) {
	const sent = 3000
	two := one(0x100, with{"bytes": 3}, signal("pack", 0, nil)).message(0x200, nil, signal("other", 0, with{"unit": "V"}))
	for name, c := range map[string]struct {
		d    *described
		jump func(received int) int
	}{
		"by the kernel's count":  {one(0x100, with{"bytes": 3}, signal("pack", 0, nil)), func(received int) int { return sent - received }},
		"by the message's count": {one(0x100, with{"bytes": 3, "counter": with{"start_bit": 0, "length": 16}}, signal("pack", 16, with{"length": 8})), func(received int) int { return sent - received }},
		"nobody can tell":        {two, func(int) int { return 1 }},
	} {
		t.Run(name, func(t *testing.T) {
			b := newBus(t)
			b.room = 4096
			d, said := heard()
			d.dial = b.dial
			mustConfigure(t, d, c.d.and(with{"interface": "can0"}))
			b.open = func() {
				for i := range sent {
					b.sendFrame(frameOf(0x100, byte(i), byte(i>>8), 1))
				}
			}
			ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
			defer cancel()
			var scans, jumps, next uint64
			err := d.Stream(ctx, func(f *plugin.Frame) error {
				scans += uint64(f.ScanCount)
				jumps += f.FirstSequence - next
				next = f.FirstSequence + uint64(f.ScanCount)
				if jumps > 0 {
					return errEnough
				}
				// What was waiting has been taken: this one finds room, and comes with the count of those that did not.
				b.sendFrame(frameOf(0x100, sent&0xff, sent>>8, 1))
				return nil
			})
			if !errors.Is(err, errEnough) {
				t.Fatal(err)
			}
			if received := int(scans) - 1; received < 1 || received >= sent || int(jumps) != c.jump(received) {
				t.Errorf("%d of %d were received and the sequence jumped by %d", received, sent, jumps)
			}
			if !strings.Contains(said.String(), "found no room in the kernel, this machine was too busy to take them") {
				t.Errorf("said %q", said)
			}
		})
	}
}

func TestWhatIsNoFrameEndsTheStream(t *testing.T) {
	b := newBus(t)
	d := b.driver()
	mustConfigure(t, d, one(0x100, with{"bytes": 2}, signal("pack", 0, nil)).and(with{"interface": "can0"}))
	b.open = func() {
		b.sendFrame(frameOf(0x100, 7, 0))
		b.send([]byte("nonsense"))
	}
	got, err := listenFor(t, d, 2)
	if err == nil || err.Error() != "can0: 8 bytes are no CAN frame, which has 16 or 72" || len(got) != 1 || got[0].Columns[0].Values[0] != 7 {
		t.Errorf("%v, %v", got, err)
	}
}

// A controller says what befalls it by frames of its own.
func TestErrorFramesAreSaid(t *testing.T) {
	b := newBus(t)
	d, said := heard()
	d.dial = b.dial
	mustConfigure(t, d, one(0x100, with{"bytes": 2}, signal("pack", 0, nil)).and(with{"interface": "can0"}))
	b.open = func() {
		b.sendFrame(frameOf(0x100, 1, 0))
		full := frameOf(0x004, 0, 0x01, 0, 0, 0, 0, 0, 0)
		full.Error = true
		b.sendFrame(full)
		b.sendFrame(frameOf(0x100, 2, 0))
	}
	got, err := listenFor(t, d, 2)
	if err != nil || len(got) != 2 || got[1].FirstSequence != 2 {
		t.Errorf("%v, %v: the second scan should come after a gap, as frames were lost", got, err)
	}
	if want := "can0: the controller reports: frames were lost, it had no room for them (1 report)\n"; said.String() != want {
		t.Errorf("said %q", said)
	}
}

func TestReceivingAllocatesNothing(t *testing.T) {
	b := newBus(t)
	from, err := b.dial(&plan{network: "can0"})
	if err != nil {
		t.Fatal(err)
	}
	defer from.Close()
	const frames = 100
	for i := range frames + 1 {
		b.sendFrame(frameOf(0x100, byte(i)))
	}
	var got received
	n := testing.AllocsPerRun(frames, func() {
		if err := from.receive(&got, true); err != nil {
			t.Fatal(err)
		}
	})
	if n != 0 || got.frame.Data[0] != frames || got.wallNanos == 0 {
		t.Errorf("%v allocations, %+v", n, got)
	}
	if err := from.receive(&got, false); !errors.Is(err, errEmpty) {
		t.Error(err)
	}
}

// The kernel counts what it had no room for since a socket was made; each frame comes with what was lost since the one before it.
func TestLostFramesAreCountedOnce(t *testing.T) {
	b := newBus(t)
	b.room = 4096
	from, err := b.dial(&plan{network: "can0"})
	if err != nil {
		t.Fatal(err)
	}
	defer from.Close()
	const sent = 500
	for round := range 3 {
		for i := range sent {
			b.sendFrame(frameOf(0x100, byte(i)))
		}
		var got received
		waiting := 0
		for from.receive(&got, false) == nil {
			waiting++
		}
		b.sendFrame(frameOf(0x100))
		if err := from.receive(&got, true); err != nil || got.dropped != int64(sent-waiting) {
			t.Errorf("round %d: %d lost, %v, want %d", round, got.dropped, err, sent-waiting)
		}
	}
}

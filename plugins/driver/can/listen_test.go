package can

import (
	"errors"
	"os"
	"strings"
	"syscall"
	"testing"
	"testing/synctest"
	"time"

	"github.com/ampledger/ampledger/plugins/driver/can/wire"
	"github.com/ampledger/ampledger/plugins/plugin"
)

// timetable is an interface on which frames come at set times of a bubble, and which ends with an error.
type timetable struct {
	begun    time.Time
	deadline time.Time
	frames   []timed
	end      error
}

type timed struct {
	at    time.Duration
	frame wire.Frame
	step  time.Duration // by which the wall clock is set before the frame is read
}

func (s *timetable) SetReadDeadline(at time.Time) error { s.deadline = at; return nil }
func (s *timetable) Close() error                       { return nil }

func (s *timetable) receive(to *received, wait bool) error {
	if len(s.frames) == 0 {
		return s.end
	}
	due := s.begun.Add(s.frames[0].at)
	switch {
	case wait && !time.Now().Before(s.deadline):
		return os.ErrDeadlineExceeded // as a file of the runtime's poller does, without a look
	case !time.Now().Before(due):
	case !wait:
		return errEmpty
	case due.After(s.deadline):
		<-time.NewTimer(time.Until(s.deadline)).C
		return os.ErrDeadlineExceeded
	default:
		<-time.NewTimer(time.Until(due)).C
	}
	*to = received{frame: s.frames[0].frame, wallNanos: due.Add(-s.frames[0].step).UnixNano()}
	s.frames = s.frames[1:]
	return nil
}

// listening runs a driver in a bubble on a timetable, and gives its scans with the time each frame of scans was sent at, what it said and its error.
func listening(t *testing.T, d *described, end error, frames ...timed) (scans, said string, err error) {
	t.Helper()
	synctest.Test(t, func(t *testing.T) {
		driver, buffer := heard()
		begun := time.Now()
		driver.now = func() (int64, error) { return 1000e9 + int64(time.Since(begun)), nil }
		driver.dial = func(*plan) (source, error) { return &timetable{begun: begun, frames: frames, end: end}, nil }
		mustConfigure(t, driver, d.and(with{"interface": "can0"}))
		var b strings.Builder
		err = driver.Stream(t.Context(), func(f *plugin.Frame) error {
			b.WriteString("sent at " + time.Since(begun).String() + "\n" + scanned([]*plugin.Frame{f}))
			if want := begun.UnixNano() + f.FirstMonotonicNanos - 1000e9; f.FirstWallNanos != want {
				t.Errorf("wall %d, want %d", f.FirstWallNanos, want)
			}
			return nil
		})
		scans, said = b.String(), buffer.String()
	})
	return scans, said, err
}

const ms = time.Millisecond

func TestScansWaitForTheirFrameFiftyMilliseconds(t *testing.T) {
	d := one(0x100, with{"bytes": 1, "silent_seconds": 0.3}, signal("pack", 0, with{"length": 8}))
	gone := errors.New("gone")
	got, said, err := listening(t, d, gone,
		timed{at: 10 * ms, frame: frameOf(0x100, 1)}, timed{at: 30 * ms, frame: frameOf(0x100, 2)}, timed{at: 59 * ms, frame: frameOf(0x100, 3)},
		timed{at: 70 * ms, frame: frameOf(0x100, 4)}, timed{at: 900 * ms, frame: frameOf(0x100, 5)})
	want := lines("sent at 60ms", "0 @10: 1", "1 @30: 2", "2 @59: 3", "sent at 120ms", "3 @70: 4", "sent at 900ms", "4 @900: 5")
	if got != want || !errors.Is(err, gone) {
		t.Errorf("%s%v, want\n%s", got, err, want)
	}
	wantSaid := "message 0x100 has not come for 350ms: see whether its sender is connected and its identifier is right; its values are absent\nmessage 0x100 comes again, after 830ms\n"
	if said != wantSaid {
		t.Errorf("said %q, want %q", said, wantSaid)
	}
}

func TestAMessageThatNeverComes(t *testing.T) {
	d := one(0x100, with{"bytes": 1, "silent_seconds": 0.3}, signal("pack", 0, with{"length": 8}))
	got, said, _ := listening(t, d, errors.New("gone"), timed{at: 900 * ms, frame: frameOf(0x101, 5)})
	if got != "" || said != "message 0x100 has not come since the start, 400ms: see whether its sender is connected and its identifier is right; its values are absent\n" {
		t.Errorf("%q, said %q", got, said)
	}
}

// What has come before an interface goes down goes out first.
func TestAnInterfaceThatGoesDown(t *testing.T) {
	d := one(0x100, with{"bytes": 1}, signal("pack", 0, with{"length": 8}))
	got, _, err := listening(t, d, syscall.ENETDOWN, timed{at: 10 * ms, frame: frameOf(0x100, 1)})
	if want := lines("sent at 10ms", "0 @10: 1"); got != want || !errors.Is(err, syscall.ENETDOWN) {
		t.Errorf("%q, %v", got, err)
	}
}

// Where the wall clock was set between the receiving and the reading, the time of the reading stands and that is said.
func TestAWallClockThatIsSet(t *testing.T) {
	d := one(0x100, with{"bytes": 1}, signal("pack", 0, with{"length": 8}))
	got, said, _ := listening(t, d, errors.New("gone"),
		timed{at: 10 * ms, frame: frameOf(0x100, 1)}, timed{at: 20 * ms, frame: frameOf(0x100, 2), step: time.Hour}, timed{at: 30 * ms, frame: frameOf(0x100, 3), step: -time.Hour},
		timed{at: 100 * ms, frame: frameOf(0x100, 4), step: 50 * time.Millisecond}) // to before a time at which none was waiting
	if want := lines("sent at 60ms", "0 @10: 1", "1 @20: 2", "2 @30: 3", "sent at 100ms", "3 @100: 4"); got != want {
		t.Errorf("%q", got)
	}
	const text = ": the wall clock, by which the kernel stamps, was set meanwhile: it has the time of its reading"
	if want := lines("message 0x100: 1 frame"+text, "message 0x100: 2 frames"+text); said != want {
		t.Errorf("said %q", said)
	}
}

func TestReportsOfAController(t *testing.T) {
	for _, c := range []struct {
		class    uint32
		state    byte
		want     string
		overflow bool
	}{
		{0x040, 0, "bus off, it takes no part in the bus until it is restarted (see restart-ms of ip link)", false},
		{0x100, 0, "restarted after bus off", false},
		{0x004, 0x01, "frames were lost, it had no room for them", true},
		{0x204, 0x10, "error passive, see the bit rate, the wiring and the termination", false},
		{0x004, 0x21, "frames were lost, it had no room for them; error passive, see the bit rate, the wiring and the termination", true},
		{0x004, 0x08, "errors on the bus have become more or fewer", false},
		{0x040, 0x01, "bus off, it takes no part in the bus until it is restarted (see restart-ms of ip link)", false},
	} {
		f := frameOf(c.class, 0, c.state)
		if got, overflow := busError(&f); got != c.want || overflow != c.overflow {
			t.Errorf("class %#x, state %#x: %q, %v", c.class, c.state, got, overflow)
		}
	}
}

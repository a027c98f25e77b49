package modbus

import (
	"errors"
	"os"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/ampledger/ampledger/plugins/driver/modbus/wire"
	"github.com/ampledger/ampledger/plugins/plugin"
)

// double is a client whose device does as told: there is no device in a test that could be pulled out or forbidden to root.
type double struct {
	opening, answer error
	opened, closed  int
}

func (d *double) dial() (client, error) {
	d.opened++
	return d, d.opening
}

func (*double) Prepare() error { return nil }

func (d *double) Read(r wire.Request) ([]byte, error) {
	if d.answer != nil {
		return nil, d.answer
	}
	return make([]byte, 2*r.Count), nil
}

func (d *double) Close() error {
	d.closed++
	return nil
}

// rig is a meter on such a client, with a clock that is set by hand.
func rig(t *testing.T, serial bool) (*meter, *double, *int64) {
	settings, clock := at("meter", readOf(1, amperes("a", 0, nil))), new(int64)
	if serial {
		delete(settings, "tcp")
		settings["serial"] = with{"device": "/dev/ttyUSB0"}
	}
	d := configured(t, quiet(), settings)
	d.now = func() (int64, error) { return *clock, nil }
	m, err := newMeter(t.Context(), d)
	if err != nil {
		t.Fatal(err)
	}
	client := &double{}
	m.line.dial = client.dial
	return m, client, clock
}

func (m *meter) once(t *testing.T) (taken bool, err error) {
	t.Helper()
	_, taken, err = m.Take([]*plugin.Column{{}}, 0)
	return taken, err
}

func TestNoRightToTheDeviceEndsTheStream(t *testing.T) {
	m, client, _ := rig(t, true)
	client.opening = syscall.EACCES
	_, err := m.once(t)
	const want = "/dev/ttyUSB0: there is no connection: permission denied: give the user of the daemon the right to it, often by its group, such as dialout"
	if !errors.Is(err, os.ErrPermission) || err.Error() != want {
		t.Error(err)
	}
}

// TestADeviceThatVanishes is pulled out in the middle of a request, stays away and comes back.
func TestADeviceThatVanishes(t *testing.T) {
	m, client, clock := rig(t, true)
	if taken, err := m.once(t); !taken || err != nil {
		t.Fatal(taken, err)
	}
	client.answer, client.opening = syscall.EIO, syscall.ENOENT
	for range 20 {
		*clock += int64(time.Second)
		if taken, err := m.once(t); taken || err != nil {
			t.Fatal(taken, err)
		}
	}
	if client.closed != 1 || client.opened < 4 || client.opened > 9 {
		t.Errorf("opened %d times, closed %d times", client.opened, client.closed)
	}
	if want := "server 1, holding registers 0 to 0: there is no connection: no such file or directory: see whether the device is there, is a serial line, and is used by no other program"; m.last.Error() != want {
		t.Error(m.last)
	}
	client.answer, client.opening = nil, nil
	*clock += int64(mostPause)
	if taken, err := m.once(t); !taken || err != nil {
		t.Error(taken, err)
	}
	client.answer, client.opening = syscall.EIO, syscall.ENOENT
	var err error
	for seconds := 0; err == nil && seconds < 40; seconds++ {
		*clock += int64(time.Second)
		_, err = m.once(t)
	}
	if err == nil || !strings.HasPrefix(err.Error(), "/dev/ttyUSB0: nothing could be read for 31s: server 1") {
		t.Error(err)
	}
}

// TestASerialLineStaysClosedForLateAnswers: they have no number, so one that comes after its time would be taken for the next.
func TestASerialLineStaysClosedForLateAnswers(t *testing.T) {
	m, client, clock := rig(t, true)
	client.answer = os.ErrDeadlineExceeded
	if _, err := m.once(t); err != nil || client.closed != 1 {
		t.Fatal(err, client.closed)
	}
	client.answer = nil
	for _, c := range []struct {
		after time.Duration
		taken bool
	}{{0, false}, {199 * time.Millisecond, false}, {200 * time.Millisecond, true}} {
		*clock = int64(c.after)
		if taken, err := m.once(t); taken != c.taken || err != nil {
			t.Errorf("after %v: %t, %v", c.after, taken, err)
		}
	}
	client.answer = wire.Exception(6)
	if _, err := m.once(t); err != nil || client.closed != 1 {
		t.Errorf("closed %d times by an exception, %v", client.closed, err)
	}
}

func TestPausesGrowToACap(t *testing.T) {
	const ms = time.Millisecond
	want := []time.Duration{0, 500 * ms, 1000 * ms, 2000 * ms, 4000 * ms, 8000 * ms, 10000 * ms, 10000 * ms}
	for _, chance := range []float64{0, 0.5, 1} {
		var r retry
		for i, pause := range want {
			pause = time.Duration(float64(pause) * (1 - chance/2))
			now := int64(i) * 1e12
			r.failed(now, chance)
			if !r.due(now+int64(pause)) || pause > 0 && r.due(now+int64(pause)-1) {
				t.Errorf("failure %d at chance %v: not %v", i+1, chance, pause)
			}
		}
		for range 100 {
			r.failed(0, chance)
		}
		if !r.due(int64(mostPause)) {
			t.Errorf("after %d failures not before %v", r.failures, time.Duration(r.notBefore))
		}
	}
}

func TestASpellIsToldEverLessOften(t *testing.T) {
	var s spell
	var told []int
	for second := range int64(100) {
		if polls := s.lost(second * 1e9); polls > 0 {
			told = append(told, polls)
		}
	}
	if len(told) != 4 || told[0] != 1 || told[1] != 10 || told[2] != 20 || told[3] != 40 {
		t.Errorf("polls told %d", told)
	}
	s.over()
	if polls := s.lost(150e9); polls != 30 {
		t.Errorf("%d polls, want 29 untold ones and this", polls)
	}
}

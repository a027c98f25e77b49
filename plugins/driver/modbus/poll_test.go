package modbus

import (
	"bytes"
	"encoding/binary"
	"log"
	"math"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"github.com/ampledger/ampledger/plugins/driver/drivertest"
	"github.com/ampledger/ampledger/plugins/driver/internal/boottime"
	"github.com/ampledger/ampledger/plugins/plugin"
)

func TestConformance(t *testing.T) {
	drivertest.Run(t, func() plugin.Driver { return quiet() }, at(serveTCP(t, memory),
		readOf(1, amperes("a", 3, nil), amperes("b", 9, with{"type": "float64", "unit": "V", "averaging": true}), amperes("c", 100, with{"unit": "code"})),
		with{"registers": "input", "server": 255, "inputs": []any{amperes("d", 0, with{"type": "uint32", "order": "dcba", "unit": "1"})}},
	))
}

// TestEachReadAsksForItsRegisters looks at what a server is asked and where each value is taken from.
func TestEachReadAsksForItsRegisters(t *testing.T) {
	var asked []request
	address := serveTCP(t, func(r request) reply {
		asked = append(asked, r)
		return memory(r)
	})
	frames := mustCollect(t, configured(t, quiet(), at(address,
		readOf(7, amperes("b", 12, with{"scale": -0.5}), amperes("a", 10, with{"unit": "code", "scale": 0.1})),
		with{"registers": "input", "server": 2, "inputs": []any{amperes("c", 0xfffe, with{"type": "int32", "unit": "V", "order": "cdab"})}},
	)), 1)
	if diff := cmp.Diff([]request{{7, 3, 10, 3}, {2, 4, 0xfffe, 2}}, asked[:2], cmp.AllowUnexported(request{})); diff != "" {
		t.Errorf("requests (-want +got):\n%s", diff)
	}
	for column, want := range []float64{-6, 10, -2} { // 0xfffffffe
		if got := points(frames, column)[0].value; got != want {
			t.Errorf("column %d: %v, want %v", column, got, want)
		}
	}
}

// TestTimesOfTheScans has a server that says at which time it sampled: that must lie in the span of the reading, which is the uncertainty of its time
// times √12 long and in whose middle the time is.
func TestTimesOfTheScans(t *testing.T) {
	n := 0
	address := serveTCP(t, func(request) reply {
		now, err := boottime.Nanos()
		if err != nil {
			t.Error(err)
		}
		n++
		return reply{registers: binary.BigEndian.AppendUint64(nil, uint64(now)), after: time.Duration(n%3) * time.Millisecond}
	})
	settings := at(address, readOf(1, amperes("t", 0, with{"type": "int64", "unit": "1"})))
	settings["rate_hertz"] = 19 // one scan a frame
	frames := mustCollect(t, configured(t, quiet(), settings), 12)
	for i, p := range points(frames, 0) {
		width, off := float64(frames[i].TimeUncertaintyNanos)*math.Sqrt(12), p.value-float64(p.at)
		if math.Abs(off) > width/2+100 { // rounding
			t.Errorf("scan %d was sampled %v ns from its time, in a reading of %v ns", i, off, width)
		}
		if i > 0 && p.at <= points(frames, 0)[i-1].at {
			t.Errorf("scan %d is not after the one before", i)
		}
	}
}

// script answers the nth request, from 0, as it says.
func script(say func(n int) reply) func(request) reply {
	n := -1
	return func(r request) reply {
		n++
		out := say(n)
		if out.registers == nil {
			out.registers = binary.BigEndian.AppendUint16(nil, uint16(n))
		}
		return out
	}
}

// TestWhatIsNotAnsweredIsAJump has one read whose answer is missing now and then. The values count the requests, so a value that comes
// twice, or late, would show.
func TestWhatIsNotAnsweredIsAJump(t *testing.T) {
	for name, c := range map[string]struct {
		bad  reply
		lost bool // else it is asked again in the same poll
	}{
		"exception":         {reply{exception: 6}, true},
		"unknown exception": {reply{exception: 7}, true},
		"no answer":         {reply{silent: true}, true},
		"late answer":       {reply{after: 300 * time.Millisecond}, true},
		"hung up":           {reply{hangUp: true}, false},
		"nonsense":          {reply{raw: []byte("HTTP/1.1 400 Bad Request\r\n\r\n")}, true},
		"half an answer":    {reply{raw: []byte{0, 0, 0}}, true},
		"another's answer":  {reply{raw: []byte{0, 4, 0, 0, 0, 5, 9, 3, 2, 0, 77}}, true},
		"too short":         {reply{registers: []byte{}}, true},
		"too long":          {reply{registers: []byte{1, 2, 3, 4}}, true},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			address := serveTCP(t, script(func(n int) reply {
				if n == 3 {
					return c.bad
				}
				return reply{}
			}))
			jumps, got := 0, points(mustCollect(t, configured(t, quiet(), at(address, readOf(1, amperes("a", 0, nil)))), 8), 0)
			for i, p := range got {
				if p.absent || i > 0 && p.value <= got[i-1].value || p.value == 3 {
					t.Errorf("scan %d: %+v", i, p)
				}
				if i > 0 && p.sequence-got[i-1].sequence > 1 {
					jumps++
				}
			}
			if jumps == 0 && c.lost {
				t.Error("the poll that had no answer is no jump")
			}
		})
	}
}

// TestAConnectionThatHasEndedIsOpenedInTheSamePoll hangs up after each answer, as some servers do with those that are idle. Were each second poll lost,
// no two scans would follow on each other.
func TestAConnectionThatHasEndedIsOpenedInTheSamePoll(t *testing.T) {
	address := serveTCP(t, script(func(n int) reply { return reply{hangUp: n%2 == 1} }))
	settings := at(address, readOf(1, amperes("a", 0, nil)))
	settings["rate_hertz"] = 20
	follow, got := 0, points(mustCollect(t, configured(t, quiet(), settings), 10), 0)
	for i, p := range got {
		if p.value != float64(2*i) {
			t.Errorf("scan %d: %+v", i, p)
		}
		if i > 0 && p.sequence == got[i-1].sequence+1 {
			follow++
		}
	}
	if follow == 0 {
		t.Error("each second poll was lost")
	}
}

// TestServersThatFailDoNotStopTheOthers has three servers on one line: 2 never answers, 3 gives exceptions.
func TestServersThatFailDoNotStopTheOthers(t *testing.T) {
	var asked [4]atomic.Int64
	address := serveTCP(t, func(r request) reply {
		asked[r.unit].Add(1)
		return [...]reply{1: {registers: []byte{0, 5}}, 2: {silent: true}, 3: {exception: 2}}[r.unit]
	})
	var said bytes.Buffer
	d := quiet()
	d.log = log.New(&said, "", 0)
	settings := at(address, readOf(1, amperes("a", 0, nil)), readOf(2, amperes("b", 0, nil)), readOf(3, amperes("c", 4, with{"unit": "code"})))
	settings["timeout_seconds"] = 0.05
	frames := mustCollect(t, configured(t, d, settings), 150)
	for column, absent := range []bool{false, true, true} {
		for _, p := range points(frames, column) {
			if p.absent != absent || !absent && p.value != 5 {
				t.Fatalf("column %d: %+v", column, p)
			}
		}
	}
	if n := asked[2].Load(); n < 2 || n > 20 {
		t.Errorf("the dead server was asked %d times in %d polls", n, asked[1].Load())
	}
	for _, want := range []string{
		address + ": no value in 1 polls: server 2, holding registers 0 to 0: no answer for 50ms: see whether the server is on, and the setting server\n",
		address + ": no value in 1 polls: server 3, holding registers 4 to 4: exception 02, ILLEGAL DATA ADDRESS: it has not all of these registers, see the addresses and split the read where registers are left out\n",
	} {
		if got := said.String(); strings.Count(got, want) != 1 {
			t.Errorf("said\n%swant once\n%s", got, want)
		}
	}
}

func TestExceptionsHaveTheStandardsNames(t *testing.T) {
	for code, name := range map[byte]string{
		1: "01, ILLEGAL FUNCTION", 2: "02, ILLEGAL DATA ADDRESS", 3: "03, ILLEGAL DATA VALUE", 4: "04, SERVER DEVICE FAILURE", 5: "05, ACKNOWLEDGE", 6: "06, SERVER DEVICE BUSY",
		8: "08, MEMORY PARITY ERROR", 10: "0A, GATEWAY PATH UNAVAILABLE", 11: "0B, GATEWAY TARGET DEVICE FAILED TO RESPOND",
	} {
		address := serveTCP(t, func(request) reply { return reply{exception: code} })
		d := configured(t, quiet(), at(address, readOf(1, amperes("a", 0, nil))))
		m, err := newMeter(t.Context(), d)
		if err != nil {
			t.Fatal(err)
		}
		if _, taken, err := m.Take([]*plugin.Column{{}}, 0); taken || err != nil || !strings.Contains(m.last.Error(), "exception "+name+": ") {
			t.Errorf("%d: %v, %v", code, m.last, err)
		}
		if err := m.line.close(); err != nil {
			t.Error(err)
		}
	}
}

// TestWrongOrderIsFoundAtTheStart sends 12.5 the most significant byte first.
func TestWrongOrderIsFoundAtTheStart(t *testing.T) {
	address := serveTCP(t, func(r request) reply { return reply{registers: []byte{0x41, 0x48, 0, 0}[:2*r.count]} })
	for _, c := range []struct {
		more with
		want string
	}{
		{with{"type": "float32", "order": "abcd"}, ""},
		{with{"type": "float32", "order": "cdab"}, `1: input "a" reads 2.3418e-41 A, plausible are 1 to 500: see the order, where abcd reads 12.5 A; else address, type and scale`},
		{with{"type": "float32", "order": "cdab", "plausible": []any{-500, 500}}, `1: input "a" reads 2.3418e-41 A, plausible are -500 to 500: see the order, where abcd reads 12.5 A; else address, type and scale`},
		{with{"type": "float32", "order": "abcd", "scale": 100}, `1: input "a" reads 1250 A, plausible are 1 to 500: see address, type and scale, no other order is plausible either`},
		{with{"type": "int32", "order": "abcd", "scale": 0.01},
			`1: input "a" reads 1.0952e+07 A, plausible are 1 to 500: see the order, where cdab reads 167.12 A, dcba reads 184.97 A; else address, type and scale`},
		{with{"type": "int16", "order": "badc"}, `0: input "a" reads 18497 A, plausible are 1 to 500: see address, type and scale, no other order is plausible either`},
		{with{"type": "int16", "order": "badc", "scale": 0.02}, ""},
	} {
		if c.more["plausible"] == nil {
			c.more["plausible"] = []any{1, 500}
		}
		_, err := collect(t, configured(t, quiet(), at(address, readOf(1, amperes("a", 0, c.more)))), 1)
		if c.want == "" && err != nil || c.want != "" && (err == nil || err.Error() != address+": server 1, holding registers 0 to "+c.want) {
			t.Errorf("%v: error\n%v\nwant\n%s", c.more, err, c.want)
		}
	}
}

// TestAnImplausibleValueLaterIsGiven: it may be the very overcurrent that is looked for.
func TestAnImplausibleValueLaterIsGiven(t *testing.T) {
	address := serveTCP(t, script(func(n int) reply { return reply{registers: []byte{byte(n), 0}} }))
	got := points(mustCollect(t, configured(t, quiet(), at(address, readOf(1, amperes("a", 0, with{"plausible": []any{0, 100}})))), 3), 0)
	if got[2].value != 512 {
		t.Errorf("%+v", got)
	}
}

func TestNothingToReadEndsTheStream(t *testing.T) {
	dead := serveTCP(t, func(request) reply { return reply{silent: true} })
	for name, c := range map[string]struct{ address, want string }{
		"nobody listens": {"127.0.0.1:1", "127.0.0.1:1: nothing could be read for "},
		"no answer":      {dead, dead + ": nothing could be read for "},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := collect(t, configured(t, hasty(t, quiet()), at(c.address, readOf(1, amperes("a", 0, nil)))), 1)
			if err == nil || !strings.HasPrefix(err.Error(), c.want) || !strings.Contains(err.Error(), "see whether the server is on") {
				t.Error(err)
			}
		})
	}
}

func TestStreamBeforeConfigure(t *testing.T) {
	if err := New().Stream(t.Context(), nil); err == nil || err.Error() != "stream before configure" {
		t.Error(err)
	}
}

package can

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/ampledger/ampledger/plugins/driver/drivertest"
	"github.com/ampledger/ampledger/plugins/plugin"
)

// duty is a log with everything the suite should see: two messages, one with a counter, a gap, a frame in trouble.
func duty() []string {
	var log []string
	for i := range 2500 {
		if i%700 == 3 {
			continue
		}
		log = append(log, at(10*i, fmt.Sprintf("123#%04X%02X", uint16(i*13), i%256)))
		if i%100 == 0 {
			log = append(log, at(10*i+3, "18FF0001##1"+strings.Repeat("19", 12)))
		}
	}
	return log
}

func TestConformance(t *testing.T) {
	d := one(0x123, with{"bytes": 3, "counter": with{"start_bit": 16, "length": 8}, "period_seconds": 0.01}, signal("pack", 0, with{"scale": 0.1})).
		message(0x18ff0001, with{"extended": true, "bytes": 12}, signal("ambient", 40, with{"unit": "Cel", "hold_seconds": 2.5}), signal("tap", 64, with{"unit": "code"}))
	for _, speed := range []float64{0, 50} {
		t.Run(fmt.Sprint("speed ", speed), func(t *testing.T) {
			drivertest.Run(t, func() plugin.Driver { d, _ := heard(); return d }, d.and(with{"log": logFile(t, duty()...), "speed": speed}))
		})
	}
}

func TestPlaysSignalsOfEachKind(t *testing.T) {
	d := one(0x123, with{"byte_order": "big", "bytes": 8},
		signal("little", 0, with{"byte_order": "little", "scale": 0.01, "offset": -5}),
		signal("big", 23, with{"length": 12, "type": "unsigned", "unit": "V", "scale": 0.5}),
		signal("code", 32, with{"length": 1, "type": "unsigned", "unit": "code", "byte_order": "little"}),
		signal("odd", 33, with{"length": 23, "type": "signed", "unit": "1", "byte_order": "little"}),
	).message(0x123, with{"extended": true, "bytes": 64},
		signal("far", 16, with{"length": 64, "type": "float", "unit": "1", "hold_seconds": 1}),
		signal("near", 80, with{"length": 32, "type": "float", "unit": "1", "hold_seconds": 1}),
	)
	bytes := [64]byte{}
	for i := range 8 {
		bytes[2+i] = byte(math.Float64bits(-math.Pi) >> (8 * i))
	}
	for i := range 4 {
		bytes[10+i] = byte(math.Float32bits(1.5) >> (8 * i))
	}
	got, _ := mustPlay(t, d, nil,
		at(0, "123#F401ABCD03000000"),
		at(1, fmt.Sprintf("00000123##1%X", bytes)),
		at(2, "123#0CFEFFF0FEFFFF00"),
	)
	if want := lines("0 @0: 0 1374 1 1 - -", "1 @2: -10 2047.5 0 -1 -3.141592653589793 1.5"); got != want {
		t.Errorf("%swant\n%s", got, want)
	}
}

func TestRawNumbersThatAreNone(t *testing.T) {
	d := one(0x123, with{"bytes": 4}, signal("amperes", 0, with{"least_raw": -32000, "greatest_raw": 32000}), signal("code", 16, with{"unit": "code", "type": "unsigned", "least_raw": 100, "greatest_raw": 4000, "volts_per_code": 0.001}))
	got, _ := mustPlay(t, d, nil, at(0, "123#00.7D.A0.0F"), at(1, "123#017D6400"), at(2, "123#FF7FFFFF"), at(3, "123#00836300"))
	if want := lines("0 @0: 32000 4000", "1 @1: - 100", "2 @2: - -", "3 @3: -32000 -"); got != want {
		t.Errorf("%swant\n%s", got, want)
	}
}

func TestAValueIsGivenOnceUnlessItHolds(t *testing.T) {
	d := one(0x100, with{"bytes": 2}, signal("pack", 0, nil)).
		message(0x200, with{"bytes": 4}, signal("other", 0, nil), signal("warm", 16, with{"unit": "Cel", "hold_seconds": 0.25}))
	got, _ := mustPlay(t, d, nil,
		at(0, "100#0100"), at(50, "200#07001900"), at(100, "100#0200"), at(200, "100#0300"), at(299, "100#0400"), at(301, "100#0500"),
		at(302, "200#08001A00"), at(303, "200#09001B00"), at(400, "100#0600"), at(500, "100#0700"), at(450, "100#0800"), at(302, "100#0900"),
	)
	want := lines("0 @0: 1 - -", "1 @100: 2 7 25", "2 @200: 3 - 25", "3 @299: 4 - 25", "4 @301: 5 - -", "5 @400: 6 9 27", "6 @500: 7 - 27", "7 @450: 8 - 27", "8 @302: 9 - -")
	if got != want {
		t.Errorf("%swant\n%s", got, want)
	}
}

func TestScanOnChoosesTheMessage(t *testing.T) {
	d := one(0x100, with{"bytes": 2}, signal("slow", 0, with{"unit": "V", "hold_seconds": 1})).message(0x200, with{"bytes": 2}, signal("fast", 0, nil))
	got, _ := mustPlay(t, d, with{"scan_on": "fast"}, at(0, "200#0100"), at(1, "100#0500"), at(2, "200#0200"), at(3, "200#0300"))
	if want := lines("0 @0: - 1", "1 @2: 5 2", "2 @3: 5 3"); got != want {
		t.Errorf("%swant\n%s", got, want)
	}
}

func TestMultiplexedSignals(t *testing.T) {
	d := one(0x100, with{"bytes": 3, "multiplexer": with{"start_bit": 0, "length": 8}},
		signal("pack", 8, with{"multiplex": 0}), signal("volts", 8, with{"multiplex": 1, "unit": "V", "hold_seconds": 1}))
	got, _ := mustPlay(t, d, nil, at(0, "100#000100"), at(1, "100#010500"), at(2, "100#000200"), at(3, "100#020900"), at(4, "100#000300"))
	if want := lines("0 @0: 1 -", "1 @2: 2 5", "2 @4: 3 5"); got != want {
		t.Errorf("%swant\n%s", got, want)
	}
}

// Of a multiplexed message nobody can say which of the frames that were lost was a scan.
func TestLostFramesOfAMultiplexedScan(t *testing.T) {
	d := one(0x100, with{"bytes": 4, "multiplexer": with{"start_bit": 0, "length": 8}, "counter": with{"start_bit": 8, "length": 8}},
		signal("pack", 16, with{"multiplex": 0}), signal("volts", 16, with{"multiplex": 1, "unit": "V"}))
	got, said := mustPlay(t, d, nil, at(0, "100#00000100"), at(1, "100#01010500"), at(2, "100#00020200"), at(3, "100#01060600"), at(4, "100#00070300"), at(5, "100#0108"), at(6, "100#00090400"))
	if want := lines("0 @0: 1 -", "1 @2: 2 5", "3 @4: 3 6", "5 @6: 4 -"); got != want {
		t.Errorf("%swant\n%s", got, want)
	}
	if want := "message 0x100: 3 frames: lost, by its counter or its period\nmessage 0x100: 1 frame: shorter than described, its values are absent\n"; said != want {
		t.Errorf("%swant\n%s", said, want)
	}
}

func TestAnIdentifierOfAnotherLengthIsAnother(t *testing.T) {
	d := one(0x123, with{"extended": true, "bytes": 2}, signal("pack", 0, nil))
	got, _ := mustPlay(t, d, nil, at(0, "123#0100"), at(1, "00000123#0200"), at(2, "00000123#R2"), at(3, "20000123#0300"), at(4, "00000123##00400"))
	if want := lines("0 @1: 2", "1 @4: 4"); got != want {
		t.Errorf("%swant\n%s", got, want)
	}
}

func TestLogsOfSeveralInterfaces(t *testing.T) {
	d := one(0x100, with{"bytes": 1}, signal("pack", 0, with{"length": 8}))
	log := []string{at(0, "100#01"), "(1000.5) can1 200#02", "(1001.0) can1 100#03", at(2000, "100#04")}
	got, _ := mustPlay(t, d, with{"interface": "can1"}, log...)
	if want := lines("0 @1000: 3"); got != want {
		t.Errorf("%swant\n%s", got, want)
	}
	got, _, err := play(t, d, nil, log...)
	if want := lines("0 @0: 1"); got != want {
		t.Errorf("%swant\n%s", got, want)
	}
	if err == nil || !strings.HasSuffix(err.Error(), "can.log:3: the messages come on can1 here and on can0 before, say by the setting interface which of them to play") {
		t.Error(err)
	}
}

func TestEndsOfALog(t *testing.T) {
	d := one(0x100, with{"bytes": 1, "multiplexer": with{"start_bit": 7, "length": 1}}, signal("pack", 0, with{"length": 7, "multiplex": 0})).
		message(0x200, nil, signal("other", 0, nil))
	for _, c := range []struct {
		lines       []string
		more        with
		scans, want string
	}{
		{[]string{at(0, "100#01"), "", at(1, "100#0")}, nil, "0 @0: 1 -\n", "can.log:3:30: a byte of data has two hexadecimal digits"},
		{[]string{at(0, "100#01"), at(1, "100#02"), "(1000.0) can0"}, with{"frame_scans": 1}, "0 @0: 1 -\n1 @1: 2 -\n", "can.log:3:14: the name of an interface"},
		{[]string{at(0, "300#01")}, nil, "", "can.log: message 0x100, which makes the scans, is not in it"},
		{[]string{at(0, "100#01")}, with{"interface": "can3"}, "", "can.log: message 0x100, which makes the scans, is not in it on the interface can3"},
		{[]string{at(0, "100#81")}, nil, "", `can.log: no frame of message 0x100 carries "pack", which makes the scans`},
	} {
		scans, said, err := play(t, d, c.more, c.lines...)
		if scans != c.scans || err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%q: %q, %v, want %s", c.lines, scans, err, c.want)
		}
		if strings.Contains(said, "0x200") == strings.Contains(c.want, ":3:") {
			t.Errorf("%q: said %q", c.lines, said)
		}
	}
}

// A log goes out at its own pace, without holding a scan back for more than a tenth of a second.
func TestPlaysAtASpeed(t *testing.T) {
	var log []string
	for i := range 200 {
		log = append(log, at(20*i, "100#01"))
	}
	path := logFile(t, log...)
	synctest.Test(t, func(t *testing.T) {
		d, _ := heard()
		mustConfigure(t, d, one(0x100, with{"bytes": 1}, signal("pack", 0, with{"length": 8})).and(with{"log": path, "speed": 2, "wall_start": "2026-01-31T12:00:00Z"}))
		begun, scans := time.Now(), 0
		err := d.Stream(t.Context(), func(f *plugin.Frame) error {
			last := f.FirstMonotonicNanos + f.OffsetNanos[f.ScanCount-1] - 1000e9
			if elapsed := time.Since(begun); elapsed != time.Duration(last)/2 || f.OffsetNanos[f.ScanCount-1] > 200e6 {
				t.Errorf("scan at %d ns came after %v", last, elapsed)
			}
			if want := time.Date(2026, 1, 31, 12, 0, 0, 0, time.UTC).UnixNano() + f.FirstMonotonicNanos - 1000e9; f.FirstWallNanos != want {
				t.Errorf("wall %d, want %d", f.FirstWallNanos, want)
			}
			scans += int(f.ScanCount)
			return nil
		})
		if err != nil || scans != 200 {
			t.Errorf("%d scans, %v", scans, err)
		}
	})
}

func TestEmitsErrorIsReturnedEvenIfItIsEOF(t *testing.T) {
	d, _ := heard()
	mustConfigure(t, d, one(0x100, with{"bytes": 1}, signal("pack", 0, with{"length": 8})).and(with{"log": logFile(t, at(0, "100#01"), at(1, "100#02")), "speed": 0, "frame_scans": 1}))
	calls := 0
	if err := d.Stream(t.Context(), func(*plugin.Frame) error { calls++; return io.EOF }); !errors.Is(err, io.EOF) || calls != 1 {
		t.Errorf("%v after %d calls", err, calls)
	}
}

func TestStreamBeforeConfigure(t *testing.T) {
	if err := New().Stream(context.Background(), nil); err == nil || err.Error() != "stream before configure" {
		t.Error(err)
	}
}

func TestPlayingAllocatesNothing(t *testing.T) {
	d := one(0x100, with{"bytes": 4, "counter": with{"start_bit": 16, "length": 4}, "checksum": with{"start_bit": 24, "length": 8, "algorithm": "xor8"}}, signal("pack", 0, nil), signal("none", 20, with{"length": 4, "unit": "V"}))
	driver, _ := heard()
	mustConfigure(t, driver, d.and(with{"log": logFile(t, at(0, "100#01"))}))
	c := newCollector(driver.plan, driver.log, func(*plugin.Frame) error { return nil })
	time, count := int64(0), byte(0)
	step := func() {
		time, count = time+1e6, (count+1)&15
		f := frameOf(0x100, 1, 2, count, 1^2^count)
		c.look(time)
		if err := c.take(c.plan.message(&f), &f, time); err != nil {
			t.Fatal(err)
		}
		if c.batch.ScanCount == 100 {
			if err := c.flush(); err != nil {
				t.Fatal(err)
			}
		}
	}
	for range 200 {
		step()
	}
	if n := testing.AllocsPerRun(1000, step); n != 0 || c.next != 1201 {
		t.Errorf("%v allocations, %d scans", n, c.next)
	}
}

// BenchmarkPlay plays a log of a thousand frames of one current with a counter.
func BenchmarkPlay(b *testing.B) {
	var log []string
	for i := range 1000 {
		log = append(log, at(10*i, fmt.Sprintf("123#%04X%02X", i, i%256)))
	}
	settings := one(0x123, with{"bytes": 3, "counter": with{"start_bit": 16, "length": 8}}, signal("pack", 0, with{"scale": 0.1})).and(with{"log": logFile(b, log...), "speed": 0})
	b.ReportAllocs()
	for b.Loop() {
		d, _ := heard()
		mustConfigure(b, d, settings)
		if err := d.Stream(b.Context(), func(*plugin.Frame) error { return nil }); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/1000, "ns/frame")
}

// What a controller reports is no data, though its class may look like an identifier.
func TestErrorFramesOfALogAreNoData(t *testing.T) {
	got, _ := mustPlay(t, one(0x004, with{"bytes": 2}, signal("pack", 0, nil)), nil, at(0, "004#0100"), at(1, "20000004#0001000000000000"), at(2, "004#0200"))
	if want := lines("0 @0: 1", "1 @2: 2"); got != want {
		t.Errorf("%swant\n%s", got, want)
	}
}

func TestFramesHoldNoMoreScansThanSet(t *testing.T) {
	var log []string
	for i := range 5 {
		log = append(log, at(i, "100#01"))
	}
	d, _ := heard()
	mustConfigure(t, d, one(0x100, with{"bytes": 1}, signal("pack", 0, with{"length": 8})).and(with{"log": logFile(t, log...), "speed": 0, "frame_scans": 2}))
	frames, err := collect(t.Context(), d)
	if err != nil || len(frames) != 3 || frames[0].ScanCount != 2 || frames[1].ScanCount != 2 || frames[2].ScanCount != 1 {
		t.Errorf("%v, %v", frames, err)
	}
}

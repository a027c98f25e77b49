package can

import (
	"fmt"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// counted is a message with a current, a counter of four bits and a value that holds.
func counted(more with) *described {
	all := with{"bytes": 3, "counter": with{"start_bit": 16, "length": 4}}
	for key, value := range more {
		all[key] = value
	}
	return one(0x100, all, signal("pack", 0, nil))
}

func count(milliseconds, count int) string {
	return at(milliseconds, fmt.Sprintf("100#0100%02X", count))
}

// still is a counter that stands at a number, each 10 ms.
func still(from, frames, number int) (log []string) {
	for i := range frames {
		log = append(log, count(from+10*i, number))
	}
	return log
}

func stillScans(frames int) []string {
	scans := []string{"0 @0: 1", "1 @10: 1", "2 @20: 1"}
	for i := range frames {
		scans = append(scans, fmt.Sprintf("%d @%d: -", 3+i, 30+10*i))
	}
	return scans
}

func TestCounters(t *testing.T) {
	period := with{"period_seconds": 0.01}
	for _, c := range []struct {
		name  string
		more  with
		lines []string
		want  []string
		said  string
	}{
		{"goes round", nil, []string{count(0, 14), count(10, 15), count(20, 0), count(30, 1)}, []string{"0 @0: 1", "1 @10: 1", "2 @20: 1", "3 @30: 1"}, ""},
		{"jumps", nil, []string{count(0, 14), count(40, 2), count(50, 3)}, []string{"0 @0: 1", "4 @40: 1", "5 @50: 1"}, "3 frames: lost"},
		{"jumps by more than a round, no period", nil, []string{count(0, 1), count(180, 3)}, []string{"0 @0: 1", "2 @180: 1"}, "1 frame: lost"},
		{"jumps by more than a round, period", period, []string{count(0, 1), count(184, 3), count(190, 4)}, []string{"0 @0: 1", "18 @184: 1", "19 @190: 1"}, "17 frames: lost"},
		{"a whole round is no standstill", period, []string{count(0, 1), count(160, 1)}, []string{"0 @0: 1", "16 @160: 1"}, "15 frames: lost"},
		{"stands still", nil, []string{count(0, 1), count(10, 1), count(20, 1), count(30, 2)}, []string{"0 @0: 1", "1 @10: -", "2 @20: -", "3 @30: 1"}, "1 frame: its counter stands still"},
		{"stands still, period", period, []string{count(0, 1), count(10, 1), count(20, 3)}, []string{"0 @0: 1", "1 @10: -", "2 @20: 1"}, "1 frame: its counter stands still"},
		{"stands still for rounds, period", period, append([]string{count(0, 1), count(10, 2), count(20, 3)}, still(30, 40, 3)...), stillScans(40), "1 frame: its counter stands still"},
		{"goes round between bad frames", with{"counter": with{"start_bit": 16, "length": 2}}, []string{count(0, 1), at(10, "100#"), at(20, "100#"), at(30, "100#"), count(40, 1)},
			[]string{"0 @0: 1", "1 @10: -", "2 @20: -", "3 @30: -", "4 @40: 1"}, "1 frame: shorter than described"},
		{"late and early, period", period, []string{count(0, 1), count(19, 2), count(20, 3), count(30, 4)}, []string{"0 @0: 1", "1 @19: 1", "2 @20: 1", "3 @30: 1"}, ""},
		{"runs back, period", period, []string{count(0, 9), count(10, 10), count(20, 0), count(30, 1)}, []string{"0 @0: 1", "1 @10: 1", "2 @20: 1", "3 @30: 1"}, ""},
		{"runs back after a pause, period", period, []string{count(0, 9), count(10, 10), count(50, 0), count(60, 1)}, []string{"0 @0: 1", "1 @10: 1", "5 @50: 1", "6 @60: 1"}, "3 frames: lost"},
		{"greatest", with{"counter": with{"start_bit": 16, "length": 4, "greatest": 14}}, []string{count(0, 13), count(10, 14), count(20, 0), count(30, 15), count(40, 2)},
			[]string{"0 @0: 1", "1 @10: 1", "2 @20: 1", "3 @30: -", "4 @40: 1"}, "1 frame: its counter is above the greatest it has"},
		{"no period and a bad frame between", nil, []string{count(0, 1), at(10, "100#01"), count(20, 5)}, []string{"0 @0: 1", "1 @10: -", "4 @20: 1"}, "1 frame: shorter than described"},
		{"only bad frames at first", period, []string{at(0, "100#01"), at(40, "100#01"), count(60, 5)}, []string{"0 @0: -", "4 @40: -", "6 @60: 1"}, "3 frames: lost"},
	} {
		t.Run(c.name, func(t *testing.T) {
			got, said := mustPlay(t, counted(c.more), nil, c.lines...)
			if want := lines(c.want...); got != want {
				t.Errorf("%swant\n%s", got, want)
			}
			if c.said == "" != (said == "") || !strings.Contains(said, c.said) {
				t.Errorf("said %q, want %q", said, c.said)
			}
		})
	}
}

func TestPeriodsWithoutACounter(t *testing.T) {
	d := one(0x100, with{"bytes": 2, "period_seconds": 0.01, "silent_seconds": 1}, signal("pack", 0, nil))
	var log []string
	for _, ms := range []int{0, 10, 24, 30, 45, 60, 69, 200} {
		log = append(log, at(ms, "100#0100"))
	}
	got, said := mustPlay(t, d, nil, log...)
	want := lines("0 @0: 1", "1 @10: 1", "2 @24: 1", "3 @30: 1", "5 @45: 1", "7 @60: 1", "8 @69: 1", "21 @200: 1")
	if got != want {
		t.Errorf("%swant\n%s", got, want)
	}
	if want := "message 0x100: 1 frame: lost, by its counter or its period\nmessage 0x100: 13 frames: lost, by its counter or its period\n"; said != want {
		t.Errorf("said %q", said)
	}
}

// Whatever frames are lost out of a message that is sent at its period, each of those that come has the number it was sent with, though the counter has two
// bits only and the times jitter.
func TestNumbersOfFramesProperty(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		const period = 10_000_000
		p := pace{periodNanos: period, values: rapid.SampledFrom([]int64{3, 4, 16, 256}).Draw(t, "values")}
		sent := rapid.Int64Range(0, 1000).Draw(t, "first")
		number := sent
		for i := range rapid.IntRange(1, 50).Draw(t, "frames") {
			if i > 0 {
				sent += rapid.Int64Range(1, 100).Draw(t, "step")
			}
			jitter := rapid.Int64Range(-period/3, period/3).Draw(t, "jitter")
			s := p.counter(sent*period+jitter, sent%p.values)
			if i > 0 {
				number += s.frames
			}
			if s.repeated || number != sent {
				t.Fatalf("frame %d has the number %d (%+v)", sent, number, s)
			}
		}
	})
}

// checked is a message whose third byte is a checksum.
func checked(more with, sum with) *described {
	all := with{"bytes": 3, "checksum": sum}
	for key, value := range more {
		all[key] = value
	}
	return one(0x100, all, signal("pack", 0, nil))
}

func TestChecksums(t *testing.T) {
	sum := func(more with) with {
		all := with{"start_bit": 16, "length": 8, "algorithm": "crc8-sae-j1850"}
		for key, value := range more {
			all[key] = value
		}
		return all
	}
	// F2 01 83 has the sum 37, and 92 6B 55 has 8C: codewords of AUTOSAR's Specification of CRC Routines.
	for name, c := range map[string]struct {
		sum  with
		good string
	}{
		"over all that is before it":    {sum(with{"before": []any{0xf2}}), "018337"},
		"with a byte behind":            {sum(with{"after": []any{0x83}}), "F20137"},
		"of a part":                     {sum(with{"before": []any{0x92, 0x6b}, "first_byte": 1}), "00558C"},
		"of a part that ends before it": {sum(with{"before": []any{0x92, 0x6b}, "last_byte": 0}), "55018C"},
		"itself within the range":       {sum(with{"before": []any{0xf2}, "first_byte": 0, "last_byte": 2}), "018337"},
		"in front":                      {with{"start_bit": 23, "length": 8, "byte_order": "big", "algorithm": "sum8"}, "FF0302"},
		"nothing but what is not in it": {sum(with{"before": []any{0xf2, 0x01}, "after": []any{0x83}, "first_byte": 2}), "777737"},
	} {
		t.Run(name, func(t *testing.T) {
			d := checked(nil, c.sum)
			got, said := mustPlay(t, d, nil, at(0, "100#"+c.good), at(10, "100#"+c.good[:4]+"00"), at(20, "100#"+c.good))
			if strings.Count(got, " -\n") != 1 || !strings.Contains(got, "1 @10: -\n") {
				t.Error(got)
			}
			if want := "message 0x100: 1 frame: its checksum does not fit, its values are absent\n"; said != want {
				t.Errorf("said %q", said)
			}
		})
	}
}

func TestAChecksumOf16BitsInFront(t *testing.T) {
	d := one(0x100, with{"bytes": 5, "byte_order": "big", "checksum": with{"start_bit": 7, "length": 16, "algorithm": "crc16-ibm-3740"}}, signal("pack", 23, nil))
	got, _ := mustPlay(t, d, nil, at(0, "100#D374F20183"), at(1, "100#D374F20182"))
	if want := lines("0 @0: -3583", "1 @1: -"); got != want {
		t.Errorf("%swant\n%s", got, want)
	}
}

// The values of another message than the one that makes the scans are unknown from a bad frame to the next good one.
func TestABadFrameEndsAHold(t *testing.T) {
	d := one(0x100, with{"bytes": 1}, signal("pack", 0, with{"length": 8})).
		message(0x200, with{"bytes": 2, "checksum": with{"start_bit": 8, "length": 8, "algorithm": "xor8"}}, signal("warm", 0, with{"length": 8, "unit": "Cel", "hold_seconds": 10}))
	got, _ := mustPlay(t, d, nil, at(0, "200#1919"), at(1, "100#01"), at(2, "200#1A19"), at(3, "100#02"), at(4, "100#03"), at(5, "200#1B1B"), at(6, "100#04"))
	if want := lines("0 @1: 1 25", "1 @3: 2 -", "2 @4: 3 -", "3 @6: 4 27"); got != want {
		t.Errorf("%swant\n%s", got, want)
	}
}

func TestSilence(t *testing.T) {
	d := one(0x100, with{"bytes": 1, "period_seconds": 0.1}, signal("pack", 0, with{"length": 8})).
		message(0x200, with{"bytes": 1, "silent_seconds": 2}, signal("warm", 0, with{"length": 8, "unit": "Cel"})).
		message(0x300, with{"bytes": 1}, signal("never", 0, with{"length": 8, "unit": "Cel"}))
	var log []string
	for ms := 0; ms < 8000; ms += 100 {
		switch {
		case ms == 500 || ms == 4000:
			log = append(log, at(ms, "200#01"))
		case ms > 6000 && ms < 7500:
			log = append(log, at(ms, "7FF#"))
			continue
		}
		log = append(log, at(ms, "100#01"))
	}
	_, said := mustPlay(t, d, nil, log...)
	const hint = ": see whether its sender is connected and its identifier is right; its values are absent"
	want := lines(
		"message 0x200 has not come for 2.1s"+hint,
		"message 0x200 comes again, after 3.5s",
		"message 0x300 has not come since the start, 5.1s"+hint,
		"message 0x200 has not come for 2.1s"+hint,
		"message 0x100 has not come for 1.1s"+hint,
		"message 0x100 comes again, after 1.5s",
		"message 0x100: 14 frames: lost, by its counter or its period",
	)
	lastly := said[strings.LastIndex(strings.TrimSpace(said), "\n")+1:]
	if said != want+lastly || !strings.HasPrefix(lastly, "message 0x300 is not in ") {
		t.Errorf("%swant\n%s", said, want)
	}
}

// A time that runs backwards goes out as it is, and is said.
func TestTimeThatRunsBackwards(t *testing.T) {
	d := one(0x100, with{"bytes": 1, "period_seconds": 0.01}, signal("pack", 0, with{"length": 8}))
	got, said := mustPlay(t, d, nil, at(100, "100#01"), at(110, "100#02"), at(50, "100#03"), at(60, "100#04"))
	if want := lines("0 @100: 1", "1 @110: 2", "2 @50: 3", "3 @60: 4"); got != want {
		t.Errorf("%swant\n%s", got, want)
	}
	if want := "message 0x100: 1 frame: its time is before that of the frame before it\n"; said != want {
		t.Errorf("said %q", said)
	}
}

// Trouble that goes on is said when it begins, then with its count each ten seconds, and at the end.
func TestTroubleIsSaidSeldom(t *testing.T) {
	var log []string
	for i := range 2500 {
		log = append(log, at(10*i, "100#01"))
	}
	_, said := mustPlay(t, counted(nil), nil, log...)
	const text = ": shorter than described, its values are absent"
	if want := lines("message 0x100: 1 frame"+text, "message 0x100: 1000 frames"+text, "message 0x100: 1000 frames"+text, "message 0x100: 499 frames"+text); said != want {
		t.Errorf("%swant\n%s", said, want)
	}
}

// Where the time runs backwards, silence is counted from there on.
func TestSilenceAfterTheTimeRanBackwards(t *testing.T) {
	d := one(0x100, with{"bytes": 1, "silent_seconds": 2}, signal("pack", 0, with{"length": 8}))
	log := []string{at(5000, "100#01")}
	for ms := 0; ms <= 4000; ms += 100 {
		log = append(log, at(ms, "7FF#"))
	}
	_, said := mustPlay(t, d, nil, log...)
	if want := "message 0x100 has not come for 2.1s: "; !strings.HasPrefix(said, want) {
		t.Errorf("said %q", said)
	}
}

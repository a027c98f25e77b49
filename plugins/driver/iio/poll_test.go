package iio

import (
	"bytes"
	"context"
	"errors"
	"log"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"
	"testing/synctest"
	"time"

	"github.com/ampledger/ampledger/plugins/plugin"
)

// bubble makes a driver whose clock is that of a synctest bubble, and jumps ahead when told.
func bubble(asleep *int64) *Driver {
	d := quiet()
	begun := time.Now()
	d.now = func() (int64, error) { return 1e9 + int64(time.Since(begun)) + *asleep, nil }
	return d
}

func polled(rate float64) with { return with{"mode": "polled", "rate_hertz": rate} }

func TestPolls(t *testing.T) {
	root := tree(t, map[string]string{
		"iio:device0/in_voltage0_raw": "-7", "iio:device0/in_voltage0_scale": "0.125",
		"iio:device0/in_current0_raw": "2048", "iio:device0/in_current_scale": "2.5", "iio:device0/in_current_offset": "-2000",
		"iio:device0/in_temp_input": "-12500", "iio:device0/in_voltage9_input": "3300.5",
	})
	synctest.Test(t, func(t *testing.T) {
		var none int64
		d := bubble(&none)
		mustConfigure(t, d, at(root, polled(4)))
		frames, err := collect(t.Context(), d, 3)
		if err != nil {
			t.Fatal(err)
		}
		if got, want := sequences(frames), []uint64{0, 1, 2}; !slices.Equal(got, want) {
			t.Errorf("sequences %d", got)
		}
		if got, want := times(frames), []int64{1e9, 1.25e9, 1.5e9}; !slices.Equal(got, want) {
			t.Errorf("times %d", got)
		}
		if wall := time.Now().UnixNano(); frames[2].FirstWallNanos != wall {
			t.Errorf("wall %d, want %d", frames[2].FirstWallNanos, wall)
		}
		if got, want := codes(frames, 0), []int32{-7, -7, -7}; !slices.Equal(got, want) {
			t.Errorf("codes %d", got)
		}
		for column, want := range map[int]float64{1: 3.3005, 2: -12.5, 3: (2048 - 2000) * 2.5 / 1000} {
			if got := values(frames, column); len(got) != 3 || got[1] != want {
				t.Errorf("column %d: %v, want %v", column, got, want)
			}
		}
	})
}

func TestPollsFollowTheAttribute(t *testing.T) {
	root := tree(t, map[string]string{"iio:device0/in_voltage0_raw": "1"})
	raw := folder(filepath.Join(root, "sys", "iio:device0"))
	synctest.Test(t, func(t *testing.T) {
		var none int64
		d := bubble(&none)
		mustConfigure(t, d, at(root, polled(10)))
		var got []int32
		err := d.Stream(t.Context(), func(f *plugin.Frame) error {
			got = append(got, f.Columns[0].Codes...)
			if len(got) == 3 {
				return errEnough
			}
			return raw.write("in_voltage0_raw", []string{"", "2147483647", "-2147483648"}[len(got)])
		})
		if want := []int32{1, 1<<31 - 1, -1 << 31}; !errors.Is(err, errEnough) || !slices.Equal(got, want) {
			t.Errorf("%d, %v", got, err)
		}
	})
}

func TestMissedPollsAreAJumpOfTheSequence(t *testing.T) {
	root := tree(t, map[string]string{"iio:device0/in_voltage0_raw": "1"})
	synctest.Test(t, func(t *testing.T) {
		var asleep int64
		d := bubble(&asleep)
		mustConfigure(t, d, at(root, polled(10)))
		var frames []*plugin.Frame
		for f := range stream(t, d, 4) {
			if frames = append(frames, f); len(frames) == 2 {
				asleep += 3600e9 // the machine sleeps: its timers stand still, its clock goes on
			}
		}
		if got, want := sequences(frames), []uint64{0, 1, 36001, 36002}; !slices.Equal(got, want) {
			t.Errorf("sequences %d, want %d", got, want)
		}
		if got := times(frames); got[2] < 1e9+3600e9 || got[3]-got[2] > 1e8 {
			t.Errorf("times %d", got)
		}
	})
}

func TestMissedPollsWithinAFrame(t *testing.T) {
	root := tree(t, map[string]string{"iio:device0/in_voltage0_raw": "1"})
	synctest.Test(t, func(t *testing.T) {
		var asleep int64
		d := bubble(&asleep)
		mustConfigure(t, d, at(root, polled(100)))
		plain, calls := d.now, 0
		d.now = func() (int64, error) {
			if calls++; calls == 12 || calls == 30 {
				asleep += 1e9
			}
			return plain()
		}
		frames, err := collect(t.Context(), d, 40)
		if err != nil {
			t.Fatal(err)
		}
		at, jumps := times(frames), 0
		for i, sequence := range sequences(frames) {
			// A reading in which the machine slept has its middle as its time.
			if due := 1e9 + int64(sequence)*1e7; at[i]-due >= 1e7 && at[i]-due != 5e8 || at[i] < due {
				t.Errorf("poll %d at %d, it was due at %d", sequence, at[i], due)
			}
			if i > 0 && sequence-sequences(frames)[i-1] > 1 {
				jumps++
			}
		}
		if jumps != 2 {
			t.Errorf("%d jumps in %d", jumps, sequences(frames))
		}
	})
}

// stream gives frames while the driver waits.
func stream(t *testing.T, d *Driver, frames int) func(func(*plugin.Frame) bool) {
	return func(yield func(*plugin.Frame) bool) {
		err := d.Stream(t.Context(), func(f *plugin.Frame) error {
			copied := &plugin.Frame{FirstSequence: f.FirstSequence, FirstMonotonicNanos: f.FirstMonotonicNanos, ScanCount: f.ScanCount, OffsetNanos: slices.Clone(f.OffsetNanos)}
			if !yield(copied) {
				return errEnough
			}
			if frames--; frames == 0 {
				return errEnough
			}
			return nil
		})
		if !errors.Is(err, errEnough) {
			t.Error(err)
		}
	}
}

func TestPollsInFramesOfATenthOfASecond(t *testing.T) {
	root := tree(t, map[string]string{"iio:device0/in_voltage0_raw": "1"})
	synctest.Test(t, func(t *testing.T) {
		var none int64
		d := bubble(&none)
		mustConfigure(t, d, at(root, polled(1000)))
		frames, err := collect(t.Context(), d, 200)
		if err != nil || len(frames) != 2 || frames[1].FirstSequence != 100 || frames[1].ScanCount != 100 {
			t.Errorf("%d frames, %v", len(frames), err)
		}
	})
}

// attributeDouble answers with texts and errors in turn.
type attributeDouble struct {
	texts []string
	errs  []error
	turn  int
}

func (a *attributeDouble) ReadAt(to []byte, _ int64) (int, error) {
	turn := a.turn
	a.turn++
	return copy(to, a.texts[turn]), a.errs[turn]
}

func (*attributeDouble) Close() error { return nil }

func TestWhatCannotBeReadIsAbsent(t *testing.T) {
	busy := &os.PathError{Op: "read", Path: "raw", Err: syscall.EBUSY}
	attribute := &attributeDouble{texts: []string{"1\n", "", "", "4\n", "", "9\n"}, errs: []error{nil, busy, busy, nil, syscall.EIO, nil}}
	var said bytes.Buffer
	d, column := quiet(), &plugin.Column{}
	d.log = log.New(&said, "", 0)
	p := probe{input: &input{code: true}, path: "raw", file: attribute}
	for scan := range 6 {
		if err := p.take(column, scan, d.log); err != nil {
			t.Fatal(err)
		}
	}
	if !slices.Equal(column.Codes, []int32{1, 0, 0, 4, 0, 9}) || !slices.Equal(column.AbsentIndices, []uint32{1, 2, 4}) {
		t.Errorf("%v", column)
	}
	if got, want := said.String(), "raw has no value: read raw: device or resource busy: another program uses the device, end it\nraw has no value: input/output error\n"; got != want {
		t.Errorf("said %q", got)
	}
}

func TestPollingEnds(t *testing.T) {
	for _, c := range []struct {
		name, text string
		err        error
		want       string
	}{
		{"gone", "", syscall.ENODEV, "no such device: the device has gone"},
		{"empty", "\n", nil, `raw: "" is no whole number`},
		{"too large", "2147483648\n", nil, `raw: "2147483648" is no whole number that 32 bits with a sign hold`},
		{"fraction", "1.5\n", nil, `raw: "1.5" is no whole number`},
	} {
		attribute := &attributeDouble{texts: []string{"1\n", c.text}, errs: []error{nil, c.err}}
		d, clock := quiet(), int64(0)
		d.now = func() (int64, error) { clock += 1e5; return clock, nil }
		d.plan = &plan{rateHertz: 1000}
		var sent []int32
		err := d.pollProbes(t.Context(), []probe{{input: &input{code: true}, path: "raw", file: attribute}}, func(f *plugin.Frame) error {
			sent = append(sent, f.Columns[0].Codes...)
			return nil
		})
		if !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want %s", c.name, err, c.want)
		}
		if !slices.Equal(sent, []int32{1}) {
			t.Errorf("%s: the scans before the fault are %d", c.name, sent)
		}
	}
}

func TestAttributeMissingAtTheStart(t *testing.T) {
	root := tree(t, map[string]string{"iio:device0/in_voltage0_raw": "1", "iio:device0/in_voltage1_raw": "1"})
	d := quiet()
	mustConfigure(t, d, at(root, polled(1)))
	path := filepath.Join(root, "sys", "iio:device0", "in_voltage1_raw")
	if err := os.Remove(path); err != nil {
		t.Fatal(err)
	}
	if _, err := collect(t.Context(), d, 1); err == nil || !strings.Contains(err.Error(), path) {
		t.Error(err)
	}
}

func TestPollingAllocatesNothing(t *testing.T) {
	root := tree(t, map[string]string{"iio:device0/in_voltage0_raw": "12345", "iio:device0/in_temp_input": "25125"})
	d := quiet()
	mustConfigure(t, d, at(root, polled(1000)))
	probes, err := openProbes(d.plan)
	defer closeProbes(probes)
	if err != nil {
		t.Fatal(err)
	}
	from, columns := &attributes{probes, d.now, d.log}, []*plugin.Column{{}, {}}
	scan := func() {
		columns[0].Codes, columns[1].Values = columns[0].Codes[:0], columns[1].Values[:0]
		if _, _, err := from.Take(columns, 0); err != nil {
			t.Fatal(err)
		}
	}
	if allocs := testing.AllocsPerRun(1000, scan); allocs != 0 {
		t.Errorf("%v allocations a scan", allocs)
	}
}

func TestStreamBeforeConfigure(t *testing.T) {
	if err := New().Stream(context.Background(), nil); err == nil || err.Error() != "stream before configure" {
		t.Error(err)
	}
}

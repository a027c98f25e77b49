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

	"github.com/ampledger/ampledger/plugins/plugin"
)

// fifo makes the device file of device 0 and gives the kernel's end of it, which also keeps it open between readers.
func fifo(t testing.TB, root string) *os.File {
	t.Helper()
	path := filepath.Join(root, "iio:device0")
	if err := syscall.Mkfifo(path, 0o600); err != nil {
		t.Fatal(err)
	}
	kernel, err := os.OpenFile(path, os.O_RDWR|syscall.O_NONBLOCK, 0)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = kernel.Close() }) // some tests have closed it
	return kernel
}

func write(t testing.TB, kernel *os.File, scans ...[]byte) {
	t.Helper()
	for _, scan := range scans {
		if _, err := kernel.Write(scan); err != nil {
			t.Fatal(err)
		}
	}
}

// The forms of the ABI's examples and of a battery's converters: both orders of bytes, 12 to 32 bits, with and without a sign.
var forms = []struct {
	text            string
	least, greatest int64
	less            int64
}{
	{"le:s12/16>>4", -2048, 2047, 0}, {"be:s12/16>>0", -2048, 2047, 0}, {"le:u12/16", 0, 4095, 0}, {"be:u12/16>>4", 0, 4095, 0},
	{"le:s16/16>>0", -32768, 32767, 0}, {"be:u16/16>>0", 0, 65535, 0},
	{"le:s18/32>>14", -131072, 131071, 0}, {"be:u18/32>>3", 0, 262143, 0},
	{"le:s24/32>>0", -8388608, 8388607, 0}, {"be:u24/32>>8", 0, 16777215, 0},
	{"le:s32/32>>0", -1 << 31, 1<<31 - 1, 0}, {"be:s32/32>>0", -1 << 31, 1<<31 - 1, 0}, {"le:u32/32>>0", 0, 1<<32 - 1, 1 << 31}, {"be:u31/32>>1", 0, 1<<31 - 1, 0},
	{"le:s7/8>>1", -64, 63, 0},
}

func TestReadsEveryForm(t *testing.T) {
	for _, form := range forms {
		t.Run(form.text, func(t *testing.T) {
			attributes := converter()
			attributes["iio:device0/buffer0/in_voltage0_type"] = form.text
			attributes["iio:device0/in_voltage_offset"] = "4"
			root := tree(t, attributes)
			kernel := fifo(t, root)
			d := quiet()
			in := mustConfigure(t, d, at(root, buffered(nil))).Inputs[0]
			raw := []int64{form.least, form.greatest, 0, 1, form.greatest / 3, form.least / 3}
			for i, value := range raw {
				write(t, kernel, encode(t, stored{form.text, value}, stored{"be:u24/32>>8", int64(i)}, stored{"le:s16/16>>0", int64(-i)}, stored{"le:s64/64>>0", int64(i)*1e6 + 5e9}))
			}
			frames, err := collect(t.Context(), d, len(raw))
			if err != nil {
				t.Fatal(err)
			}
			for i, code := range codes(frames, 0) {
				if int64(code)+form.less != raw[i] {
					t.Errorf("scan %d is %d, want %d", i, code, raw[i])
				}
				// What the daemon makes of it must be (raw + offset)·scale, in volts.
				if volts, want := in.ZeroCodeVolts+in.VoltsPerCode*float64(code), float64(raw[i]+4)*0.125/1000; volts-want > 1e-6*1e-3 || want-volts > 1e-6*1e-3 {
					t.Errorf("scan %d is %v V, want %v", i, volts, want)
				}
			}
			if !in.CodeRangeKnown || int64(in.MinimumCode)+form.less != form.least || int64(in.MaximumCode)+form.less != form.greatest {
				t.Errorf("range %d to %d", in.MinimumCode, in.MaximumCode)
			}
			if got := codes(frames, 1); !slices.Equal(got, []int32{0, 1, 2, 3, 4, 5}) {
				t.Errorf("second channel %d", got)
			}
			if got := values(frames, 2); got[4] != -0.5 {
				t.Errorf("temperature %v", got)
			}
			if got := times(frames); got[0] != 5e9 || got[5] != 5e9+5e6 {
				t.Errorf("times %d", got)
			}
		})
	}
}

func TestScansFollowTheIndexAndInputsTheSettings(t *testing.T) {
	attributes := converter()
	attributes["iio:device0/buffer0/in_voltage0_index"] = "9"
	attributes["iio:device0/buffer0/in_timestamp_index"] = "11"
	root := tree(t, attributes)
	kernel := fifo(t, root)
	d := quiet()
	mustConfigure(t, d, at(root, buffered(with{"inputs": []any{with{"label": "shunt", "name": "a"}, with{"channel": "temp"}, with{"channel": "voltage0", "name": "again"}}})))
	write(t, kernel, encode(t, stored{"le:s16/16>>0", 8}, stored{"le:s12/16>>4", -3}, stored{"le:s64/64>>0", 77}))
	frames, err := collect(t.Context(), d, 1)
	if err != nil || codes(frames, 0)[0] != -3 || values(frames, 1)[0] != 1 || codes(frames, 2)[0] != -3 || times(frames)[0] != 77 {
		t.Errorf("%v, %v", frames, err)
	}
}

func TestOldFoldersAndNoTimeStamp(t *testing.T) {
	attributes := map[string]string{}
	for name, text := range converter() {
		name = strings.ReplaceAll(name, "buffer0/in_", "scan_elements/in_")
		attributes[strings.ReplaceAll(name, "buffer0/", "buffer/")] = text
	}
	delete(attributes, "iio:device0/buffer/watermark")
	root := tree(t, attributes)
	kernel := fifo(t, root)
	d := quiet()
	d.now = func() (int64, error) { return 9e9, nil }
	mustConfigure(t, d, at(root, buffered(with{"clock": "read", "inputs": []any{with{"channel": "voltage1"}}})))
	write(t, kernel, encode(t, stored{"be:u24/32>>8", 1}), encode(t, stored{"be:u24/32>>8", 1 << 23}))
	frames, err := collect(t.Context(), d, 2)
	if err != nil || !slices.Equal(codes(frames, 0), []int32{1, 1 << 23}) || !slices.Equal(times(frames), []int64{9e9 - 1e6, 9e9}) {
		t.Errorf("%v, %v", frames, err)
	}
}

func TestLostScansAreAJumpOfTheSequence(t *testing.T) {
	root := tree(t, converter())
	kernel := fifo(t, root)
	d := quiet()
	mustConfigure(t, d, at(root, buffered(with{"inputs": []any{with{"channel": "voltage1"}}})))
	for i, at := range []int64{0, 1e6, 2e6, 7e6, 8e6} {
		write(t, kernel, encode(t, stored{"be:u24/32>>8", int64(i)}, stored{"le:s64/64>>0", at}))
	}
	frames, err := collect(t.Context(), d, 5)
	if err != nil || !slices.Equal(sequences(frames), []uint64{0, 1, 2, 7, 8}) || !slices.Equal(codes(frames, 0), []int32{0, 1, 2, 3, 4}) {
		t.Errorf("%d, %d, %v", sequences(frames), codes(frames, 0), err)
	}
}

func TestFullBufferWithoutTimeStampsMayHaveLostScans(t *testing.T) {
	root := tree(t, converter())
	kernel := fifo(t, root)
	d, clock := quiet(), int64(0)
	mustConfigure(t, d, at(root, buffered(with{"clock": "read", "buffer_scans": 2, "watermark": 1, "inputs": []any{with{"channel": "voltage1"}}})))
	d.now = func() (int64, error) { clock += 10e6; return clock, nil } // ten intervals from reading to reading
	scan := encode(t, stored{"be:u24/32>>8", 1})
	write(t, kernel, scan)
	var got []uint64
	err := d.Stream(t.Context(), func(f *plugin.Frame) error {
		got = append(got, f.FirstSequence, uint64(f.FirstMonotonicNanos/1e6), uint64(f.ScanCount))
		if len(got) == 9 {
			return errEnough
		}
		write(t, kernel, append(slices.Clone(scan), scan...))
		return nil
	})
	// The first at 10 ms; two that filled the buffer from 11 ms, eight lost behind them; two more from 21 ms.
	if want := []uint64{0, 10, 1, 1, 11, 2, 11, 21, 2}; !errors.Is(err, errEnough) || !slices.Equal(got, want) {
		t.Errorf("%d, %v, want %d", got, err, want)
	}
}

// settled are the attributes while the stream runs.
var settled = map[string]string{
	"buffer0/enable": "1", "buffer0/length": "64", "buffer0/watermark": "16", "buffer0/in_voltage0_en": "1", "buffer0/in_voltage1_en": "0",
	"buffer0/in_temp_en": "0", "buffer0/in_timestamp_en": "1", "current_timestamp_clock": "boottime", "sampling_frequency": "500", "trigger/current_trigger": "tick",
}

func TestSetsUpAndBack(t *testing.T) {
	attributes := converter()
	attributes["iio:device0/trigger/current_trigger"] = ""
	attributes["iio:device0/buffer0/enable"] = "1" // left by a process that was killed
	root := tree(t, attributes)
	kernel := fifo(t, root)
	d := quiet()
	mustConfigure(t, d, at(root, buffered(with{
		"rate_hertz": 500, "buffer_scans": 64, "watermark": 16, "trigger": "tick", "inputs": []any{with{"channel": "voltage0"}},
	})))
	write(t, kernel, encode(t, stored{"le:s12/16>>4", 1}, stored{"le:s64/64>>0", 7}))
	err := d.Stream(t.Context(), func(*plugin.Frame) error {
		for name, want := range settled {
			if got := read(t, root, name); got != want {
				t.Errorf("%s is %q while reading, want %q", name, got, want)
			}
		}
		return errEnough
	})
	if !errors.Is(err, errEnough) {
		t.Fatal(err)
	}
	attributes["iio:device0/buffer0/enable"] = "0"
	for name, want := range attributes {
		if got := read(t, root, strings.TrimPrefix(name, "iio:device0/")); got != want {
			t.Errorf("%s is %q in the end, want %q", name, got, want)
		}
	}
}

func TestSetsBackWhatItSetBeforeAFault(t *testing.T) {
	for _, c := range []struct {
		name   string
		spoil  func(t *testing.T, root string)
		faults string
	}{
		{"no trigger", func(*testing.T, string) {}, "trigger/current_trigger: no such file or directory"},
		{"clock stays", func(t *testing.T, root string) {
			keep(t, root, "current_timestamp_clock")
		}, `current_timestamp_clock stays ""`},
	} {
		t.Run(c.name, func(t *testing.T) {
			root := tree(t, converter())
			fifo(t, root)
			d := quiet()
			settings := with{"buffer_scans": 64}
			if c.name == "no trigger" {
				settings["trigger"] = "tick"
			}
			mustConfigure(t, d, at(root, buffered(settings)))
			c.spoil(t, root)
			if _, err := collect(t.Context(), d, 1); err == nil || !strings.Contains(err.Error(), c.faults) {
				t.Errorf("%v, want %s", err, c.faults)
			}
			for name, want := range map[string]string{"length": "2", "watermark": "1", "in_voltage0_en": "0", "in_voltage1_en": "1", "enable": "0"} {
				if got := read(t, root, "buffer0/"+name); got != want {
					t.Errorf("%s is %q, want %q", name, got, want)
				}
			}
		})
	}
}

// keep makes an attribute one that stays as it is, for root as well.
func keep(t *testing.T, root, attribute string) {
	t.Helper()
	path := filepath.Join(root, "sys", "iio:device0", attribute)
	if err := errors.Join(os.Remove(path), os.Symlink("/dev/null", path)); err != nil {
		t.Fatal(err)
	}
}

func TestDeviceThatKeepsItsRate(t *testing.T) {
	attributes := converter()
	attributes["iio:device0/sampling_frequency_available"] = "10 100 1000"
	root := tree(t, attributes)
	fifo(t, root)
	d := quiet()
	mustConfigure(t, d, at(root, buffered(nil)))
	d.plan.rateHertz = 900 // it was 1000 when the device was described
	want := `setting "rate_hertz": the device makes 1000 scans a second, not 900; it has 10 100 1000`
	if _, err := collect(t.Context(), d, 1); err == nil || err.Error() != want {
		t.Errorf("%v, want %s", err, want)
	}
}

func TestDeviceWithAClockOfItsOwn(t *testing.T) {
	root := tree(t, converter())
	kernel := fifo(t, root)
	for stamp, want := range map[int64]string{
		30e9: "", -30e9: "",
		31e9:  `setting "clock": the first time stamp is 31s from boottime, so the device stamps by another clock than current_timestamp_clock says; give clock: read`,
		-31e9: `setting "clock": the first time stamp is -31s from boottime, so the device stamps by another clock than current_timestamp_clock says; give clock: read`,
	} {
		d := quiet()
		mustConfigure(t, d, at(root, buffered(with{"watermark": 1, "inputs": []any{with{"channel": "voltage0"}}})))
		write(t, kernel, encode(t, stored{"le:s12/16>>4", 1}, stored{"le:s64/64>>0", stamp}))
		if _, err := collect(t.Context(), d, 1); want == "" && err != nil || want != "" && (err == nil || err.Error() != want) {
			t.Errorf("%d: %v, want %s", stamp, err, want)
		}
	}
}

func TestDeviceVanishes(t *testing.T) {
	root := tree(t, converter())
	kernel := fifo(t, root)
	d := quiet()
	mustConfigure(t, d, at(root, buffered(with{"inputs": []any{with{"channel": "voltage0"}}})))
	scan := encode(t, stored{"le:s12/16>>4", 1}, stored{"le:s64/64>>0", 7})
	write(t, kernel, scan, scan[:5])
	scans := 0
	err := d.Stream(t.Context(), func(f *plugin.Frame) error {
		scans += int(f.ScanCount)
		return kernel.Close()
	})
	if scans != 1 || err == nil || !strings.Contains(err.Error(), "iio:device0: the device gives no more, see whether it is connected and its buffer enabled (5 bytes of a scan had come)") {
		t.Errorf("%d scans, %v", scans, err)
	}
	if got := read(t, root, "buffer0/enable"); got != "0" {
		t.Errorf("enable is %q", got)
	}
}

func TestScanInPieces(t *testing.T) {
	root := tree(t, converter())
	kernel := fifo(t, root)
	d := quiet()
	mustConfigure(t, d, at(root, buffered(with{"inputs": []any{with{"channel": "voltage0"}}})))
	scan := func(i int64) []byte {
		return encode(t, stored{"le:s12/16>>4", i}, stored{"le:s64/64>>0", i * 1e6})
	}
	write(t, kernel, scan(0), scan(1)[:3])
	var got []int32
	err := d.Stream(t.Context(), func(f *plugin.Frame) error {
		got = append(got, f.Columns[0].Codes...)
		if len(got) == 1 {
			write(t, kernel, scan(1)[3:], scan(2))
			return nil
		}
		return errEnough
	})
	if !errors.Is(err, errEnough) || !slices.Equal(got, []int32{0, 1, 2}) {
		t.Errorf("%d, %v", got, err)
	}
}

func TestNoDeviceFile(t *testing.T) {
	root := tree(t, converter())
	d := quiet()
	mustConfigure(t, d, at(root, buffered(nil)))
	if _, err := collect(t.Context(), d, 1); err == nil || !strings.Contains(err.Error(), root+"/iio:device0: no such file") {
		t.Error(err)
	}
	if err := os.WriteFile(root+"/iio:device0", nil, 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := collect(t.Context(), d, 1); err == nil || !strings.Contains(err.Error(), "iio:device0: this is no device file") {
		t.Error(err)
	}
}

func TestWhatCannotBeSetBackIsSaid(t *testing.T) {
	root := tree(t, converter())
	kernel := fifo(t, root)
	d := quiet()
	var said bytes.Buffer
	d.log = log.New(&said, "", 0)
	mustConfigure(t, d, at(root, buffered(with{"inputs": []any{with{"channel": "voltage0"}}})))
	write(t, kernel, encode(t, stored{"le:s12/16>>4", 1}, stored{"le:s64/64>>0", 7}))
	ctx, cancel := context.WithCancel(t.Context())
	err := d.Stream(ctx, func(*plugin.Frame) error {
		cancel()
		return os.Remove(filepath.Join(root, "sys", "iio:device0", "buffer0", "length"))
	})
	if !errors.Is(err, context.Canceled) || !strings.Contains(said.String(), "what was set could not be set back: open "+root) {
		t.Errorf("%v, said %q", err, said.String())
	}
	if got := read(t, root, "buffer0/in_voltage1_en"); got != "1" {
		t.Errorf("after the fault, voltage1 is %q", got)
	}
}

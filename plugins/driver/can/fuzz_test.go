package can

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/ampledger/ampledger/plugins/driver/drivertest"
	"github.com/ampledger/ampledger/plugins/plugin"
)

// everything describes messages with all that a frame may be checked for.
func everything() *described {
	return one(0x100, with{"bytes": 5, "period_seconds": 0.01, "counter": with{"start_bit": 32, "length": 4, "greatest": 14}, "multiplexer": with{"start_bit": 36, "length": 4}},
		signal("pack", 0, with{"multiplex": 0}), signal("volts", 0, with{"multiplex": 1, "unit": "V", "hold_seconds": 0.5}), signal("code", 16, with{"unit": "code", "least_raw": 1, "greatest_raw": 99})).
		message(0x1abcdef, with{"extended": true, "bytes": 12, "checksum": with{"start_bit": 88, "length": 8, "algorithm": "crc8-autosar"}},
			signal("far", 7, with{"byte_order": "big", "length": 64, "type": "float", "unit": "1"}), signal("odd", 65, with{"length": 19, "unit": "Cel", "hold_seconds": 1}))
}

// FuzzPlay plays any text as a log: whatever stands there, the stream ends and the daemon can take what came of it, without a scan twice.
func FuzzPlay(f *testing.F) {
	f.Add(at(0, "100#0102030400") + "\n" + at(10, "100#0102030401") + "\n" + at(11, "01ABCDEF##0000102030405060708090A0B") + "\n" + at(90, "100#0102030410"))
	f.Add(at(0, "100#0102030400") + "\n" + at(-5, "100#0102030400 R") + "\n")
	f.Add("(2305843008.9) can0 100#0000000000\n(0.0) can0 100#FFFFFFFF0F\n")
	f.Fuzz(func(t *testing.T, text string) {
		path := filepath.Join(t.TempDir(), "f.log")
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		driver, _ := heard()
		description, err := configure(t, driver, everything().and(with{"log": path, "speed": 0, "frame_scans": 3}))
		if err != nil {
			return
		}
		check := drivertest.Frames(description)
		_ = driver.Stream(t.Context(), func(f *plugin.Frame) error {
			if err := check(f); err != nil {
				t.Error(err)
			}
			return nil
		})
	})
}

// FuzzTake gives any data to the messages, in frames of any time.
func FuzzTake(f *testing.F) {
	f.Add(true, []byte{1, 2, 3, 4, 5}, int64(10e6))
	f.Add(false, []byte{0x80, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11}, int64(-1))
	f.Fuzz(func(t *testing.T, first bool, data []byte, step int64) {
		if len(data) > 64 {
			return
		}
		driver, _ := heard()
		description := mustConfigure(t, driver, everything().and(with{"log": logFile(t, at(0, "100#"))}))
		c := newCollector(driver.plan, driver.log, drivertest.Frames(description))
		frame, time := frameOf(0x100, data...), int64(1000e9)
		if !first {
			frame.ID, frame.Extended = 0x1abcdef, true
		}
		for range 5 {
			c.look(time)
			if err := c.take(c.plan.message(&frame), &frame, time); err != nil {
				t.Fatal(err)
			}
			time += step % 1e15
			frame.Data[4]++
		}
		if err := c.flush(); err != nil {
			t.Fatal(err)
		}
	})
}

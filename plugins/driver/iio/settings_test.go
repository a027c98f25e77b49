package iio

import (
	"os"
	"strings"
	"testing"
)

// converter is a device with a buffer.
func converter() map[string]string {
	return map[string]string{
		"iio:device0/name": "adc", "iio:device0/in_voltage0_raw": "5", "iio:device0/in_voltage1_raw": "6", "iio:device0/in_voltage_scale": "0.125",
		"iio:device0/in_temp_raw": "200", "iio:device0/in_temp_scale": "125",
		"iio:device0/in_voltage0_label": "shunt", "iio:device0/sampling_frequency": "1000", "iio:device0/current_timestamp_clock": "realtime",
		"iio:device0/buffer0/enable": "0", "iio:device0/buffer0/length": "2", "iio:device0/buffer0/watermark": "1",
		"iio:device0/buffer0/in_voltage0_en": "0", "iio:device0/buffer0/in_voltage0_index": "0", "iio:device0/buffer0/in_voltage0_type": "le:s12/16>>4",
		"iio:device0/buffer0/in_voltage1_en": "1", "iio:device0/buffer0/in_voltage1_index": "1", "iio:device0/buffer0/in_voltage1_type": "be:u24/32>>8",
		"iio:device0/buffer0/in_temp_en": "0", "iio:device0/buffer0/in_temp_index": "3", "iio:device0/buffer0/in_temp_type": "le:s16/16>>0",
		"iio:device0/buffer0/in_timestamp_en": "0", "iio:device0/buffer0/in_timestamp_index": "4", "iio:device0/buffer0/in_timestamp_type": "le:s64/64>>0",
	}
}

var settingsFaults = []struct {
	name     string
	change   map[string]string // below device 0; "-" removes
	settings with
	want     string // ROOT stands for the tree
}{
	{"unknown", nil, with{"devise": 0}, `unknown setting "devise"`},
	{"nothing", nil, with{"device": nil}, `setting "mode": "" is neither polled nor buffered`},
	{"device half", nil, with{"device": 0.5, "mode": "buffered"}, `settings: setting "device": 0.5 is neither the number of a device nor a name`},
	{"no such device", nil, with{"device": "adcs", "mode": "buffered"}, `setting "device": ROOT/sys has no such device, there are [0 "adc"]`},
	{"no such number", nil, with{"device": 7, "mode": "buffered"}, `setting "device": ROOT/sys has no such device, there are [0 "adc"]`},
	{"polled", nil, with{"mode": "polled", "buffer_scans": 3, "watermark": 1, "trigger": "t", "clock": "tai"}, `setting "rate_hertz": missing, say how often to poll
setting "buffer_scans": there is no buffer when polling, leave it out
setting "watermark": there is no buffer when polling, leave it out
setting "trigger": there is no buffer when polling, leave it out
setting "clock": there is no buffer when polling, leave it out`},
	{"polled too fast", nil, with{"mode": "polled", "rate_hertz": 10001}, `setting "rate_hertz": 10001 is not within 0.001 to 10000`},
	{"buffered", nil, with{"mode": "buffered", "rate_hertz": 0, "buffer_scans": 1, "watermark": 0, "clock": "sundial", "inputs": []any{with{"name": "a"}, with{"channel": "temp", "label": "shunt"}}},
		`setting "rate_hertz": 0 is not within 0.001 to 1e+07
setting "buffer_scans": 1 is not within 2 to 32768
setting "watermark": 0 is not within 1 to 32768
setting "clock": "sundial" is none of boottime, monotonic, monotonic_raw, monotonic_coarse, realtime, realtime_coarse, tai, read
setting "inputs[0]": give its channel or its label
setting "inputs[1]": give its channel or its label`},
	{"inputs", nil, with{"mode": "buffered", "inputs": []any{with{"channel": "voltage2"}, with{"label": "shunts"}}},
		`setting "inputs[0]": the device has no channel "voltage2", there are voltage0, voltage1, temp
setting "inputs[1]": the device has no channel "shunts", there are voltage0, voltage1, temp`},
	{"label twice", map[string]string{"in_voltage1_label": "shunt"}, with{"mode": "buffered", "inputs": []any{with{"label": "shunt"}}},
		`setting "inputs[0]": 2 channels have the label "shunt", give the channel`},
	{"name twice", nil, with{"mode": "buffered", "inputs": []any{with{"channel": "voltage1", "name": "shunt"}, with{"channel": "voltage0"}}},
		`setting "inputs[1].name": "shunt" is the name of an input before it, give another`},
	{"no channels", map[string]string{"in_voltage0_raw": "-", "in_voltage1_raw": "-", "in_temp_raw": "-"}, with{"mode": "polled", "rate_hertz": 1},
		`ROOT/sys/iio:device0 has no input of volts, amperes or temperature in this mode`},
	{"scale 0", map[string]string{"in_voltage_scale": "0.000000"}, with{"mode": "buffered", "inputs": []any{with{"channel": "voltage0"}}},
		`ROOT/sys/iio:device0: the scale of voltage0 is 0, which makes every value the same; set it, or the range of the device`},
	{"scale nonsense", map[string]string{"in_voltage_scale": "NaN"}, with{"mode": "buffered", "inputs": []any{with{"channel": "voltage0"}}},
		`ROOT/sys/iio:device0/in_voltage_scale: "NaN" is no number`},
	{"no scale of a temperature", map[string]string{"in_temp_scale": "-"}, with{"mode": "polled", "rate_hertz": 1},
		`ROOT/sys/iio:device0: temp has a raw value and no scale, so its unit is not known`},
	{"type nonsense", map[string]string{"buffer0/in_voltage0_type": "le:x12/16"}, with{"mode": "buffered"},
		`ROOT/sys/iio:device0/buffer0/in_voltage0_type: "le:x12/16" is no storage type this driver reads, such as le:s12/16>>4`},
	{"no type", map[string]string{"buffer0/in_voltage0_type": "-"}, with{"mode": "buffered"},
		`open ROOT/sys/iio:device0/buffer0/in_voltage0_type: no such file or directory`},
	{"64 bits without a sign", map[string]string{"buffer0/in_voltage0_type": "le:u64/64"}, with{"mode": "buffered"},
		`voltage0 is stored as le:u64/64>>0, values of 64 bits without a sign are not read`},
	{"long and no scale", map[string]string{"buffer0/in_voltage0_type": "le:s40/64", "in_voltage_scale": "-"}, with{"mode": "buffered"},
		`voltage0 has 40 bits and no scale, so it is neither a code nor volts`},
	{"one index, two types", map[string]string{"buffer0/in_voltage1_index": "0"}, with{"mode": "buffered"},
		`voltage0 and voltage1 have the index 0, and the types le:s12/16>>4 and be:u24/32>>8`},
	{"no buffer", map[string]string{"buffer0/enable": "-"}, with{"mode": "buffered"}, `setting "mode": ROOT/sys/iio:device0 has no buffer, use polled`},
	{"no rate", map[string]string{"sampling_frequency": "-"}, with{"mode": "buffered"},
		`setting "rate_hertz": ROOT/sys/iio:device0 has no sampling_frequency, say how many scans come in a second`},
	{"rate 0", map[string]string{"sampling_frequency": "0"}, with{"mode": "buffered"},
		`setting "rate_hertz": ROOT/sys/iio:device0/sampling_frequency is 0, set it or give a rate`},
	{"watermark above the buffer", nil, with{"mode": "buffered", "buffer_scans": 4, "watermark": 5}, `setting "watermark": 5 is more than the 4 scans of the buffer`},
	{"rounded up", nil, with{"mode": "buffered", "buffer_scans": 100}, `setting "buffer_scans": 100 is no power of two, to which the kernel would round it up`},
	{"no index", map[string]string{"buffer0/in_voltage0_index": "-1"}, with{"mode": "buffered"}, `ROOT/sys/iio:device0/buffer0/in_voltage0_index: -1 is no index`},
	{"no watermark", map[string]string{"buffer0/watermark": "-"}, with{"mode": "buffered", "watermark": 5},
		`setting "watermark": ROOT/sys/iio:device0/buffer0 has no watermark, leave it out`},
	{"old kernel", map[string]string{"current_timestamp_clock": "-"}, with{"mode": "buffered"},
		`setting "clock": ROOT/sys/iio:device0 has no current_timestamp_clock, so its time stamps are of realtime, which follows the wall clock; give clock: read for the time of reading, or clock: realtime to have them all the same`},
	{"clock of none", map[string]string{"buffer0/in_timestamp_en": "-"}, with{"mode": "buffered", "clock": "tai"},
		`setting "clock": the device has no time stamps, leave it out`},
}

func TestSettingsFaults(t *testing.T) {
	for _, c := range settingsFaults {
		t.Run(c.name, func(t *testing.T) {
			attributes := converter()
			for name, text := range c.change {
				attributes["iio:device0/"+name] = text
				if text == "-" {
					delete(attributes, "iio:device0/"+name)
				}
			}
			root := tree(t, attributes)
			want := strings.ReplaceAll(c.want, "ROOT", root)
			if _, err := configure(t, quiet(), at(root, c.settings)); err == nil || err.Error() != want {
				t.Errorf("error\n%v\nwant\n%s", err, want)
			}
		})
	}
}

func TestConfigureChangesNothing(t *testing.T) {
	attributes := converter()
	root := tree(t, attributes)
	mustConfigure(t, quiet(), at(root, with{"mode": "buffered", "rate_hertz": 500}))
	for name, want := range attributes {
		if got, err := os.ReadFile(root + "/sys/" + name); err != nil || string(got) != want+"\n" {
			t.Errorf("%s: %q, %v", name, got, err)
		}
	}
}

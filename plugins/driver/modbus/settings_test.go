package modbus

import (
	"testing"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/testing/protocmp"

	"github.com/ampledger/ampledger/plugins/plugin"
)

// sound gives settings that pass, changed.
func sound(change func(all, read, input with)) with {
	input := amperes("current", 10, nil)
	read := readOf(1, input)
	all := at("192.0.2.7", read)
	change(all, read, input)
	return all
}

func TestSettingsFaults(t *testing.T) {
	for _, c := range []struct {
		name   string
		change func(all, read, input with)
		want   string
	}{
		{"nothing", func(all, _, _ with) { clear(all) }, `setting "tcp": missing, give the address of the server, or serial for a line
setting "rate_hertz": missing, say how often to poll
setting "reads": missing, say which registers to read`},
		{"both lines", func(all, _, _ with) { all["serial"] = with{"device": "/dev/ttyS0"} }, `setting "serial": tcp is given too, leave one of them out`},
		{"unknown", func(_, read, _ with) { read["slave"] = 1 }, `unknown setting "slave" in "reads[0]"`},
		{"address nonsense", func(all, _, _ with) { all["tcp"] = "tcp://meter" }, `setting "tcp": "tcp://meter" is neither HOST nor HOST:PORT`},
		{"port nonsense", func(all, _, _ with) { all["tcp"] = "meter:70000" }, `setting "tcp": "meter:70000" is neither HOST nor HOST:PORT`},
		{"port 0", func(all, _, _ with) { all["tcp"] = "meter:0" }, `setting "tcp": "meter:0" is neither HOST nor HOST:PORT`},
		{"rate and timeout", func(all, _, _ with) { all["rate_hertz"], all["timeout_seconds"] = 0, 6 },
			`setting "rate_hertz": 0 is not within 0.001 to 1000
setting "timeout_seconds": 6 is not within 0.001 to 5`},
		{"serial", func(all, _, _ with) {
			delete(all, "tcp")
			all["serial"] = with{"bits_per_second": 12345, "parity": "mark", "stop_bits": 3}
		}, `setting "serial.device": missing, give the file of the line, such as /dev/ttyUSB0
setting "serial.bits_per_second": 12345 is none of [1200 2400 4800 9600 19200 38400 57600 115200 230400 460800 921600]
setting "serial.parity": "mark" is none of [even odd none]
setting "serial.stop_bits": 3 is neither 1 nor 2`},
		{"server on a serial line", func(all, read, _ with) {
			delete(all, "tcp")
			all["serial"], read["server"] = with{"device": "/dev/ttyS0"}, 248
		}, `setting "reads[0].server": 248 is not within 1 to 247`},
		{"server and registers", func(_, read, _ with) { read["server"], read["registers"] = 256, "coils" },
			`setting "reads[0].server": 256 is not within 0 to 255
setting "reads[0].registers": "coils" is neither holding nor input`},
		{"no inputs", func(_, read, _ with) { read["inputs"] = []any{} }, `setting "reads[0].inputs": missing, say what to read`},
		{"empty input", func(_, _, input with) { clear(input) }, `setting "reads[0].inputs[0].name": missing, give the input one
setting "reads[0].inputs[0].type": "" is none of [int16 uint16 int32 uint32 int64 float32 float64]
setting "reads[0].inputs[0].unit": "" is none of [V A Cel 1 code]
setting "reads[0].inputs[0].averaging": missing, say whether a value is a mean over the interval before it (true) or a sample (false)`},
		{"no address", func(_, _, input with) { delete(input, "address") }, `setting "reads[0].inputs[0].address": missing, give the number of its first register`},
		{"beyond the end", func(_, _, input with) { input["address"], input["type"] = 65533, "int64" },
			`setting "reads[0].inputs[0].address": 65533: a value of 4 registers is not within 0 to 65535`},
		{"before the beginning", func(_, _, input with) { input["address"] = -1 },
			`setting "reads[0].inputs[0].address": -1: a value of 1 registers is not within 0 to 65535`},
		{"order", func(_, _, input with) { input["order"] = "big" }, `setting "reads[0].inputs[0].order": "big" is none of [abcd cdab badc dcba]`},
		{"order of one register", func(_, _, input with) { input["order"] = "cdab" },
			`setting "reads[0].inputs[0].order": int16 has one register, so its order is abcd or badc`},
		{"scale 0", func(_, _, input with) { input["scale"] = 0 }, `setting "reads[0].inputs[0].scale": 0 makes every value the same, give what one count is`},
		{"code of a float", func(_, _, input with) { input["unit"], input["type"] = "code", "float32" },
			`setting "reads[0].inputs[0].unit": codes are [int16 uint16 int32], not float32`},
		{"plausible", func(_, _, input with) { input["plausible"] = []any{5, -5} }, `setting "reads[0].inputs[0].plausible": [5 -5] is not [least, greatest]`},
		{"too long", func(_, read, input with) { read["inputs"] = []any{input, amperes("b", 135, nil)} },
			`setting "reads[0]": spans the 126 registers 10 to 135, a request may ask for 125: make several reads of it`},
		{"a name twice", func(all, read, input with) { all["reads"] = []any{read, readOf(2, amperes("current", 0, nil))} },
			`setting "reads[1].inputs[0].name": "current" is the name of an input before it, give another`},
		{"a text for a number", func(_, _, input with) { input["scale"] = "0.1" },
			`setting "reads.inputs.scale": a string stands where a number is wanted`},
	} {
		t.Run(c.name, func(t *testing.T) {
			if _, err := configure(t, quiet(), sound(c.change)); err == nil || err.Error() != c.want {
				t.Errorf("error\n%v\nwant\n%s", err, c.want)
			}
		})
	}
}

func TestDescription(t *testing.T) {
	d := quiet()
	got, err := configure(t, d, at("[::1]:1502",
		readOf(3, amperes("current", 10, with{"scale": 0.1, "averaging": true}), amperes("shunt", 100, with{"unit": "code", "type": "uint16", "scale": 1e-5})),
		with{"registers": "input", "inputs": []any{amperes("volts", 7, with{"unit": "V", "type": "float64", "order": "dcba"})}},
	))
	if err != nil {
		t.Fatal(err)
	}
	want := &plugin.Description{NominalRateHertz: 200, Inputs: []*plugin.Input{
		{Name: "current", Unit: "A", Averaging: true}, {Name: "shunt", Unit: "code", VoltsPerCode: 1e-5}, {Name: "volts", Unit: "V"},
	}}
	if diff := cmp.Diff(want, got, protocmp.Transform()); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
	for i, want := range []string{"server 3, holding registers 10 to 100", "server 1, input registers 7 to 10"} {
		if got := d.plan.reads[i].String(); got != want {
			t.Errorf("read %d: %s, want %s", i, got, want)
		}
	}
}

func TestAddressesAndLines(t *testing.T) {
	for text, want := range map[string]string{
		"meter": "meter:502", "meter:1502": "meter:1502", "192.0.2.7": "192.0.2.7:502", "2001:db8::7": "[2001:db8::7]:502", "[2001:db8::7]": "[2001:db8::7]:502",
		"[2001:db8::7]:99": "[2001:db8::7]:99",
	} {
		if p, err := checkTCP(text); err != nil || p.name != want {
			t.Errorf("%s: %+v, %v", text, p, err)
		}
	}
	two := 2
	for _, c := range []struct {
		settings serialSettings
		stops    int
	}{
		{serialSettings{Device: "/dev/ttyS0"}, 1}, {serialSettings{Device: "/dev/ttyS0", Parity: "none"}, 2}, {serialSettings{Device: "/dev/ttyS0", Parity: "odd", StopBits: &two}, 2},
	} {
		if p, err := c.settings.check(); err != nil || p.stops != c.stops || p.speed != 19200 || p.name != "/dev/ttyS0" || !p.serial {
			t.Errorf("%+v: %+v, %v", c.settings, p, err)
		}
	}
}

package can

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"

	"github.com/ampledger/ampledger/plugins/plugin"
)

func TestDescribes(t *testing.T) {
	d := one(0x100, with{"period_seconds": 0.02}, signal("pack", 0, with{"averaging": true}), signal("raw", 16, with{"unit": "code", "least_raw": -2048, "greatest_raw": 2047, "volts_per_code": 0.001, "zero_code_volts": 0.5})).
		message(0x200, nil, signal("status", 0, with{"unit": ""}), signal("high", 16, with{"unit": "code", "type": "unsigned", "least_raw": 10, "greatest_raw": 20}))
	driver, _ := heard()
	got := mustConfigure(t, driver, d.and(with{"log": logFile(t, at(0, "100#"))}))
	want := &plugin.Description{NominalRateHertz: 50, Finite: true, Inputs: []*plugin.Input{
		{Name: "pack", Unit: "A", Averaging: true},
		{Name: "raw", Unit: "code", MinimumCode: -2048, MaximumCode: 2047, CodeRangeKnown: true, VoltsPerCode: 0.001, ZeroCodeVolts: 0.5},
		{Name: "status", Unit: "1"},
		{Name: "high", Unit: "code", MinimumCode: 10, MaximumCode: 20, CodeRangeKnown: true},
	}}
	if !proto.Equal(got, want) {
		t.Errorf("%v\nwant %v", got, want)
	}
	driver, _ = heard()
	if rate := mustConfigure(t, driver, d.and(with{"log": logFile(t, at(0, "100#")), "scan_on": "status"})).NominalRateHertz; rate != 0 {
		t.Errorf("%v Hz, where no period is given", rate)
	}
}

// badSettings are settings that are refused, with what is said of them.
type badSettings map[string]struct {
	d    *described
	more with
	want string
}

var fine = signal("pack", 0, nil)

// like describes a message with one signal, and what is wrong with it.
func like(more with) *described { return one(0x100, more, fine) }

// bad describes a message with one signal that has something wrong.
func bad(more with) *described { return one(0x100, nil, signal("pack", 0, more)) }

func TestBadSettings(t *testing.T) {
	badSettings{
		"no messages":           {&described{}, nil, `setting "messages": there are 0, describe 1 to 256`},
		"no signals":            {one(0x100, nil), nil, `setting "messages[0].signals": missing, a message without any gives nothing`},
		"no identifier":         {like(with{"identifier": nil}), nil, `setting "messages[0].identifier": missing`},
		"identifier too large":  {one(0x800, nil, fine), nil, `setting "messages[0].identifier": 0x800 has more than 11 bits, add extended: true`},
		"29 bits too large":     {one(0x20000000, with{"extended": true}, fine), nil, `setting "messages[0].identifier": 0x20000000 is no identifier, which has 11 bits, or 29 if extended`},
		"identifier below 0":    {one(-1, nil, fine), nil, `setting "messages[0].identifier": 0x-1 is no identifier, which has 11 bits, or 29 if extended`},
		"identifier twice":      {one(0x100, nil, fine).message(0x100, nil, signal("other", 0, nil)), nil, `setting "messages[1].identifier": 0x100 is described before, put its signals together`},
		"bytes":                 {like(with{"bytes": 9}), nil, `setting "messages[0].bytes": 9 is not the length of a message, which is 1 to 8, or with CAN FD 12, 16, 20, 24, 32, 48 or 64`},
		"no bytes":              {like(with{"bytes": 0}), nil, `setting "messages[0].bytes": 0 is not the length`},
		"period":                {like(with{"period_seconds": 0}), nil, `setting "messages[0].period_seconds": 0 s is not within 1e-6 to 1e6`},
		"silence":               {like(with{"silent_seconds": -1}), nil, `setting "messages[0].silent_seconds": -1 s is not within 1e-6 to 1e6`},
		"scan_on":               {like(nil), with{"scan_on": "hall"}, `setting "scan_on": no signal is named "hall"`},
		"no source":             {like(nil), with{"log": ""}, `setting "interface": missing, give the name of a CAN interface, or a log`},
		"speed of an interface": {like(nil), with{"log": "", "interface": "can0", "speed": 1}, `setting "speed": is for a log only, leave it out`},
		"speed":                 {like(nil), with{"speed": -1}, `setting "speed": -1 is no speed`},
		"no log":                {like(nil), with{"log": "/nowhere/can.log"}, `setting "log": open /nowhere/can.log: no such file or directory; a relative path counts from the folder of the configuration`},
	}.refused(t)
}

func TestBadSignals(t *testing.T) {
	badSettings{
		"outside":          {bad(with{"start_bit": 49}), nil, `setting "messages[0].signals[0]": 16 bits from bit 49 on reach beyond the 8 bytes of the message`},
		"outside big":      {bad(with{"start_bit": 62, "byte_order": "big"}), nil, `setting "messages[0].signals[0]": 16 bits from bit 62 on reach beyond the 8 bytes`},
		"far outside":      {bad(with{"start_bit": 4000}), nil, `setting "messages[0].signals[0]": bit 4000 is not within 0 to 63, the bits of 8 bytes`},
		"length 0":         {bad(with{"length": 0}), nil, `setting "messages[0].signals[0]": a length of 0 bits is not within 1 to 64`},
		"length 65":        {bad(with{"length": 65}), nil, `setting "messages[0].signals[0]": a length of 65 bits is not within 1 to 64`},
		"no start":         {bad(with{"start_bit": nil}), nil, `setting "messages[0].signals[0].start_bit": missing`},
		"no length":        {bad(with{"length": nil}), nil, `setting "messages[0].signals[0].length": missing, give the number of bits`},
		"no order":         {like(with{"byte_order": ""}), nil, `setting "messages[0].signals[0].byte_order": missing, give little (start_bit is the least significant bit) or big (it is the most significant one)`},
		"order":            {like(with{"byte_order": "middle"}), nil, `setting "messages[0].signals[0].byte_order": "middle" is neither little nor big`},
		"no type":          {bad(with{"type": nil}), nil, `setting "messages[0].signals[0].type": missing, give unsigned, signed or float`},
		"type":             {bad(with{"type": "int"}), nil, `setting "messages[0].signals[0].type": "int" is none of unsigned, signed and float`},
		"float of 16":      {bad(with{"type": "float"}), nil, `setting "messages[0].signals[0].length": a float has 32 or 64 bits, not 16`},
		"code of 32":       {bad(with{"unit": "code", "type": "unsigned", "length": 32}), nil, `setting "messages[0].signals[0].length": 32 bits are more than the 31 that a code has room for; give another unit`},
		"code of a float":  {bad(with{"unit": "code", "type": "float", "length": 32}), nil, `setting "messages[0].signals[0].type": a code is a whole number`},
		"scale 0":          {bad(with{"scale": 0}), nil, `setting "messages[0].signals[0].scale": 0 makes every value the same, leave it out or give another`},
		"scale of a code":  {bad(with{"unit": "code", "scale": 2}), nil, `setting "messages[0].signals[0].scale": codes go out as they are; give volts_per_code, or another unit`},
		"offset of a code": {bad(with{"unit": "code", "offset": 2}), nil, `setting "messages[0].signals[0].offset": codes go out as they are`},
		"volts of no code": {bad(with{"volts_per_code": 2}), nil, `setting "messages[0].signals[0].volts_per_code": is for codes only, add unit: "code" or leave it out`},
		"zero of no code":  {bad(with{"zero_code_volts": 2}), nil, `setting "messages[0].signals[0].zero_code_volts": is for codes only`},
		"volts 0":          {bad(with{"unit": "code", "volts_per_code": 0}), nil, `setting "messages[0].signals[0].volts_per_code": 0 makes every value the same`},
		"unit":             {bad(with{"unit": "mA"}), nil, `setting "messages[0].signals[0].unit": "mA" is none of "code", "V", "A", "Cel" and "1"`},
		"held current":     {bad(with{"hold_seconds": 1}), nil, `setting "messages[0].signals[0].hold_seconds": a current that is held is a reading given twice`},
		"held too long":    {bad(with{"unit": "V", "hold_seconds": 1e7}), nil, `setting "messages[0].signals[0].hold_seconds": 1e+07 s is not within 1e-6 to 1e6`},
		"held clock":       {bad(with{"unit": "V", "hold_seconds": 1}), nil, `setting "scan_on": "pack" makes the scans and comes anew with each, so it cannot have hold_seconds`},
		"raw beyond":       {bad(with{"greatest_raw": 32768}), nil, `setting "messages[0].signals[0].greatest_raw": 32768 is not within -32768 to 32767, what the signal can hold`},
		"raw below":        {bad(with{"type": "unsigned", "least_raw": -1}), nil, `setting "messages[0].signals[0].least_raw": -1 is not within 0 to 65535`},
		"raw crossed":      {bad(with{"least_raw": 5, "greatest_raw": 5}), nil, `setting "messages[0].signals[0].least_raw": 5 is not below greatest_raw, 5`},
		"no name":          {bad(with{"name": ""}), nil, `setting "messages[0].signals[0].name": missing, every signal needs one`},
		"name twice":       {one(0x100, nil, fine, signal("pack", 16, nil)), nil, `setting "messages[0].signals[1].name": "pack" is the name of a signal before it, give another`},
		"unknown":          {bad(with{"factor": 1}), nil, `unknown setting "factor" in "messages[0].signals[0]"`},
		"wrong kind":       {bad(with{"length": "16"}), nil, `setting "messages.signals.length": a string stands where a whole number is wanted`},
	}.refused(t)
}

func TestBadParts(t *testing.T) {
	mux := with{"multiplexer": with{"start_bit": 56, "length": 8}}
	badSettings{
		"overlap":               {one(0x100, nil, fine, signal("other", 15, nil)), nil, `setting "messages[0].signals[1]": the signal pack and the signal other have bits in common, see start_bit, length and byte_order of both`},
		"overlap, both orders":  {one(0x100, nil, signal("pack", 4, with{"length": 8}), signal("other", 11, with{"length": 8, "byte_order": "big"})), nil, `the signal pack and the signal other have bits in common`},
		"overlapping multiplex": {one(0x100, mux, signal("a", 0, with{"multiplex": 1}), signal("b", 8, with{"multiplex": 1})), nil, `setting "messages[0].signals[1]": the signal a and the signal b have bits in common`},
		"overlap of all":        {one(0x100, mux, signal("a", 0, with{"multiplex": 1}), signal("b", 8, nil)), nil, `setting "messages[0].signals[1]": the signal a and the signal b have bits in common`},
		"over the multiplexer":  {one(0x100, mux, signal("a", 48, with{"multiplex": 1})), nil, `setting "messages[0].signals[0]": the multiplexer and the signal a have bits in common`},
		"no multiplexer":        {bad(with{"multiplex": 1}), nil, `setting "messages[0].signals[0].multiplex": the message has no multiplexer`},
		"multiplex beyond":      {one(0x100, mux, signal("a", 0, with{"multiplex": 256})), nil, `setting "messages[0].signals[0].multiplex": 256 is not within 0 to 255, the values of a multiplexer of 8 bits`},
		"multiplex below":       {one(0x100, mux, signal("a", 0, with{"multiplex": -1})), nil, `setting "messages[0].signals[0].multiplex": -1 is not within 0 to 255`},
		"long multiplexer":      {like(with{"multiplexer": with{"start_bit": 16, "length": 40}}), nil, `setting "messages[0].multiplexer.length": 40 bits are more than the 32 that a multiplexer may have`},
		"counter outside":       {like(with{"counter": with{"start_bit": 63, "length": 4}}), nil, `setting "messages[0].counter": 4 bits from bit 63 on reach beyond the 8 bytes of the message`},
		"counter of one bit":    {like(with{"counter": with{"start_bit": 60, "length": 1}}), nil, `setting "messages[0].counter.length": 1 bits are not within the 2 to 32 that a counter may have`},
		"counter's greatest":    {like(with{"counter": with{"start_bit": 60, "length": 4, "greatest": 16}}), nil, `setting "messages[0].counter.greatest": 16 is not within 2 to 15, the greatest number in 4 bits`},
		"counter overlaps":      {like(with{"counter": with{"start_bit": 12, "length": 8}}), nil, `setting "messages[0].signals[0]": the counter and the signal pack have bits in common`},
		"algorithm":             {like(with{"checksum": with{"start_bit": 56, "length": 8, "algorithm": "crc"}}), nil, `setting "messages[0].checksum.algorithm": "crc" is none of crc8-sae-j1850, crc8-sae-j1850-zero, crc8-autosar, crc8-smbus, crc16-ibm-3740, sum8, xor8`},
		"length of a checksum":  {like(with{"checksum": with{"start_bit": 56, "length": 4, "algorithm": "xor8"}}), nil, `setting "messages[0].checksum.length": 4 bits, where xor8 has 8`},
		"checksum askew":        {like(with{"checksum": with{"start_bit": 52, "length": 8, "algorithm": "xor8"}}), nil, `setting "messages[0].checksum.start_bit": the checksum does not fill whole bytes, so it is not clear which of them are summed`},
		"checksum's bytes":      {like(with{"checksum": with{"start_bit": 56, "length": 8, "algorithm": "xor8", "last_byte": 8}}), nil, `setting "messages[0].checksum.last_byte": 8 is not within 0 to 7, the bytes of the message`},
		"checksum's order":      {like(with{"checksum": with{"start_bit": 56, "length": 8, "algorithm": "xor8", "first_byte": 3, "last_byte": 2}}), nil, `setting "messages[0].checksum.first_byte": 3 comes after last_byte, 2`},
		"no octet":              {like(with{"checksum": with{"start_bit": 56, "length": 8, "algorithm": "xor8", "before": []any{1, 256}}}), nil, `setting "messages[0].checksum.before": value 1, 256, is no byte`},
	}.refused(t)
}

func (b badSettings) refused(t *testing.T) {
	t.Helper()
	for name, c := range b {
		t.Run(name, func(t *testing.T) {
			settings := with{"log": logFile(t, at(0, "100#"))}
			for key, value := range c.more {
				settings[key] = value
			}
			driver, _ := heard()
			_, err := configure(t, driver, prune(c.d.and(settings)).(with))
			if err == nil || !strings.Contains(err.Error(), c.want) {
				t.Errorf("%v\nwant %s", err, c.want)
			}
			if err != nil && strings.Contains(err.Error(), "\n") {
				t.Errorf("more than one fault: %v", err)
			}
		})
	}
}

// prune takes the keys out that a test has set to nothing.
func prune(value any) any {
	switch value := value.(type) {
	case with:
		kept := with{}
		for key, inside := range value {
			if inside != nil {
				kept[key] = prune(inside)
			}
		}
		return kept
	case []any:
		var kept []any
		for _, inside := range value {
			kept = append(kept, prune(inside))
		}
		return kept
	}
	return value
}

func TestAllFaultsAtOnce(t *testing.T) {
	d := one(0x900, with{"period_seconds": -1}, signal("", 0, nil), signal("b", 70, with{"unit": "kA"}))
	driver, _ := heard()
	_, err := configure(t, driver, d.and(with{"interface": "can0", "scan_on": "x"}))
	for _, part := range []string{"identifier", "period_seconds", "signals[0].name", "signals[1].unit", "signals[1]\"", "scan_on"} {
		if err == nil || !strings.Contains(err.Error(), part) {
			t.Errorf("%v does not name %s", err, part)
		}
	}
}

func TestSignalsThatMayLieTogether(t *testing.T) {
	d := one(0x100, with{"multiplexer": with{"start_bit": 56, "length": 8}}, signal("a", 0, with{"multiplex": 1}), signal("b", 8, with{"multiplex": 2}), signal("c", 24, nil))
	driver, _ := heard()
	mustConfigure(t, driver, d.and(with{"log": logFile(t, at(0, "100#"))}))
}

func TestLogsThatCannotBePlayed(t *testing.T) {
	for want, text := range map[string]string{
		"holds no frames": "# nothing\n\n",
		"can.log:2:1: no line of a log, which begins as in (1700000000.123456) can0": "# a table\ntime,amperes\n",
	} {
		driver, _ := heard()
		_, err := configure(t, driver, one(0x100, nil, signal("a", 0, nil)).and(with{"log": logFile(t, text)}))
		if err == nil || !strings.HasPrefix(err.Error(), `setting "log": `) || !strings.Contains(err.Error(), want) {
			t.Errorf("%v, want %s", err, want)
		}
	}
}

func TestALogThatIsGone(t *testing.T) {
	path := logFile(t, at(0, "100#01"))
	driver, _ := heard()
	mustConfigure(t, driver, one(0x100, with{"bytes": 1}, signal("a", 0, with{"length": 8})).and(with{"log": path}))
	if err := os.Rename(path, filepath.Join(filepath.Dir(path), "x")); err != nil {
		t.Fatal(err)
	}
	if _, err := collect(t.Context(), driver); !os.IsNotExist(err) {
		t.Error(err)
	}
}

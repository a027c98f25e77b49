package replay

import (
	"strings"
	"testing"
)

const small = "time_s,current_a,mode\n0,1,CHRG\n1,2,REST\n"

func TestSettingsFaults(t *testing.T) {
	for _, c := range []struct {
		name, text string
		settings   with
		want       string
	}{
		{"unknown", small, with{"fille": "r.csv"}, `unknown setting "fille"`},
		{"wrong type", small, with{"speed": "fast"}, `setting "speed": a string stands where a number is wanted`},
		{"no file", small, with{"file": ""}, `setting "file": missing, give the path of a recording`},
		{"missing file", small, with{"file": "x.csv"}, `setting "file": x.csv: no such file or directory; a relative path counts from the folder of the configuration`},
		{"folder", small, with{"file": "."}, `setting "file": .: this is a folder without a complete recording (*.parquet)`},
		{"empty file", "", with{}, `setting "file": r.csv: there is no header, the file is empty or all comment`},
		{"header only", "t,a\n# x\n", with{}, `setting "file": r.csv: no rows, only a header`},
		{"no such row", small, with{"where": with{"mode": "DCHG"}}, `setting "file": r.csv: no row has what setting "where" asks for`},
		{"nothing in the window", small, with{"from_seconds": 1e6}, `setting "file": r.csv: no row lies between "from_seconds" and "to_seconds"`},
		{"window reversed", small, with{"from_seconds": 2, "to_seconds": 1}, `setting "to_seconds": lies before from_seconds`},
		{"window far out", small, with{"from_seconds": -1e10}, `setting "from_seconds": -1e+10 s is not within ±3000000000`},
		{"no numbers", "t,a\n0,x\n", with{}, `setting "file": r.csv: no column but the time holds numbers`},
		{"same column twice", "t,a,a\n", with{}, `setting "file": r.csv:1: two columns are named "a", rename one of them`},
		{"first row ragged", "t,a\n0\n", with{}, `setting "file": r.csv:2: 1 cell where the header has 2 columns`},
		{"first time empty", "t,a\n,0\n", with{}, `setting "file": r.csv:2: column "t": empty, every row needs a time in seconds`},
		{"missing columns", small, with{"time_column": "time", "where": with{"record": "1"}, "inputs": []any{with{"name": "i", "column": "amps"}, with{"name": "volts"}}},
			`setting "time_column": r.csv has no column "time", only "time_s", "current_a", "mode"
setting "where": r.csv has no column "record", only "time_s", "current_a", "mode"
setting "inputs[0].column": r.csv has no column "amps", only "time_s", "current_a", "mode"
setting "inputs[1].name": r.csv has no column "volts", only "time_s", "current_a", "mode"`},
		{"many columns", "t" + strings.Repeat(",", 29) + "\n", with{"time_column": "x"}, `setting "time_column": r.csv has no column "x", only "t"` + strings.Repeat(`, ""`, 19) + ", and 10 more"},
		{"inputs", small, with{"speed": -1, "inputs": []any{
			with{"column": "current_a", "scale": 0, "unit": "mA"},
			with{"name": "a", "column": "current_a", "bits": 12, "signed": true, "volts_per_code": 1, "zero_code_volts": 0},
			with{"name": "a", "column": "current_a", "unit": "code", "bits": 33, "volts_per_code": 0},
			with{"name": "b", "column": "current_a", "unit": "code", "bits": 32, "signed": false},
		}}, `setting "inputs[0].name": missing, every input needs one
setting "inputs[0].scale": 0 makes every value the same, leave it out or give another
setting "inputs[0].unit": "mA" is none of "code", "V", "A", "Cel" and "1"
setting "inputs[1].bits": is for codes only, add unit: "code" or leave it out
setting "inputs[1].signed": is for codes only, add unit: "code" or leave it out
setting "inputs[1].volts_per_code": is for codes only, add unit: "code" or leave it out
setting "inputs[1].zero_code_volts": is for codes only, add unit: "code" or leave it out
setting "inputs[2].name": "a" is the name of an input before it, give another
setting "inputs[2].bits": 33 is not within 2 to 32
setting "inputs[2].volts_per_code": 0 is no size of a count, leave it out if it is not known
setting "inputs[3].bits": 32 is not within 2 to 31
setting "speed": -1 is no speed, give 1 for real time, or 0 for as fast as possible`},
		{"inputs and no file", small, with{"file": "x.csv", "frame_scans": -1, "inputs": []any{with{}}},
			`setting "file": x.csv: no such file or directory; a relative path counts from the folder of the configuration
setting "inputs[0].name": missing, every input needs one
setting "frame_scans": -1 is not within 1 to 100000`},
	} {
		t.Run(c.name, func(t *testing.T) {
			write(t, c.text)
			if _, _, err := configure(t, c.settings); err == nil || err.Error() != c.want {
				t.Errorf("error\n%v\nwant\n%s", err, c.want)
			}
		})
	}
}

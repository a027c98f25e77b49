package query

import (
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/ampledger/ampledger/plugins/driver/replay/table"
)

// upAndDown is a shunt of 2 % too high a resistance with an offset of 0.3 A, taken up and down again.
const upAndDown = `# points of an instrument
reference_amperes,reference_uncertainty_amperes,indicated_amperes,indicated_uncertainty_amperes,sweep
-100,0.02,-101.701,0.01,up
0,0.02,0.302,0.01,up
100,0.02,102.299,,up
100,0.02,102.303,0.01,down
0,0.02,0.299,0.01,down
-100,0.02,-101.698,0.01,down
`

func writeFile(t *testing.T, name, text string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

// TestCalibrate goes the whole way with a daemon: points from a file, fit with a picture, apply, points live, revert; the ledger has both changes.
func TestCalibrate(t *testing.T) {
	address := serveText(t, idle)
	points, picture := writeFile(t, "points.csv", upAndDown), filepath.Join(t.TempDir(), "residuals.svg")
	for _, c := range []struct {
		args   string
		status int
		want   []string
	}{
		{"zero --for 3s --force", 0, []string{"record 1", "record 2"}}, // and the devices are open from then on
		{"calibrate --channel shunt --points " + points + " --by meter", 0, []string{"point -100 A ± 0.02 A, indicated -101.701 A ± 0.01 A, going up  by meter", "going down"}},
		{"calibrate fit --channel shunt --plot " + picture + " --reference-gain 0.0002 --instrument ours", 0,
			[]string{"gain                     1.02", "± 0.00023", "going down", "down less up", "! sense leads: the gain is 2.00 % too high", "lack of fit              F(1, 3)", "u at 100 A"}},
		{"calibrate fit --channel shunt --gain-limit 5 --apply --gain-uncertainty 0.001 --expires 2099-01-31 --by meter", 0,
			[]string{"against record 9", "applied record 10, to be found anew by 2099-01-31", "in force from sequence", "#11"}},
		{"calibrate fit --channel shunt", 1, []string{"0 point(s): a calibration needs two at least"}},
		{"calibrate fit --channel shunt --records 3,4", 1, []string{"record 3 was found under another correction", "capture anew"}},
		{"calibrate --channel shunt --reference 0A±10mA --seconds 3 --sweep up", 0, []string{"point +0 A ± 0.01 A, indicated", "going up", "#12"}},
		{"calibrate --channel shunt --against magnetic --seconds 3 --json", 0, []string{`"reference_channel":"magnetic"`, `"common_offset_amperes":2`}},
		{"calibrate apply 10", 1, []string{"record 10 was found under another correction"}},
		{"calibrate apply 99", 1, []string{"there is no record 99"}},
		{"calibrate revert --channel shunt --note mistake", 0, []string{"reverted record 11, in force is the configuration alone: mistake  #14"}},
		{"calibrate revert --channel shunt", 1, []string{"no change is in force on channel \"shunt\""}},
		{"zero --for 3s --force --apply fused", 2, []string{"has no channel \"fused\" that reads a sensor; it has shunt, magnetic"}},
		{"calibrate drift --channel shunt", 1, []string{"has no temperature: the channel has none wired"}},
		{"calibrate records --channel shunt", 0, []string{"calibration of 6 points: offset +0.3", "#14\n"}},
		{"calibrate records --json", 0, []string{`"record_sequence":"14"`}},
		{"charge --entries --kind commissioning", 0, []string{"record 11, SHA-256 ", "calibration of record 10 applied, says meter", "record 14, SHA-256 ", "change of record 11 reverted to the configuration alone"}},
		{"zero --for 3s --force --apply shunt --by meter", 0, []string{"applied record 15  by meter  #17", "in force from sequence"}},
	} {
		stdout, stderr, status := run(t, append(strings.Fields(c.args), "--address", address)...)
		if status != c.status {
			t.Errorf("%s: status %d, want %d", c.args, status, c.status)
		}
		for _, part := range c.want {
			if all := stdout + stderr; !strings.Contains(all, part) {
				t.Errorf("%s lacks %q:\n%s", c.args, part, all)
			}
		}
	}
	if drawn, err := os.ReadFile(picture); err != nil || !strings.Contains(string(drawn), "<svg") {
		t.Errorf("the picture: %v", err)
	}
}

func TestCalibrateUsedWrongly(t *testing.T) {
	points := writeFile(t, "points.csv", "reference_amperes,reference_uncertainty_amperes,indicated_amperes\n1,0,1\n")
	for args, want := range map[string]string{
		"calibrate":             "--channel is required",
		"calibrate --channel a": "give --reference AMPERES±UNCERTAINTY, --against CHANNEL or --points FILE",
		"calibrate --channel a --reference 1A±1 --against b":      "one of them",
		"calibrate --channel a --reference 1A":                    "the uncertainty is missing",
		"calibrate --channel a --reference 1A±0":                  "must be above 0",
		"calibrate --channel a --reference 1A±1 --sweep sideways": "none of up, down",
		"calibrate --channel a --reference 1A±1 --seconds 0":      "above 0 and at most 3600",
		"calibrate --channel a --points /nothing":                 "no such file",
		"calibrate fit":                            "--channel is required",
		"calibrate fit --channel a --degree 4":     "none of 1, 2, 3",
		"calibrate fit --channel a --records x":    "no number of a record",
		"calibrate fit --channel a --plot x.gif":   "must end in .svg or .png",
		"calibrate fit --channel a --gain-limit 0": "above 0 and below 100",
		"calibrate apply":                          "takes 1 argument(s), 0 given",
		"calibrate apply x":                        "no number of a record",
		"calibrate apply 1 --expires soon":         "no date such as",
		"calibrate revert":                         "--channel is required",
		"calibrate drift":                          "--channel is required",
	} {
		stdout, stderr, status := run(t, strings.Fields(args)...)
		if status != 2 || !strings.Contains(stderr, want) {
			t.Errorf("%s: status %d, %q%q, want %q", args, status, stdout, stderr, want)
		}
	}
	if _, stderr, status := run(t, "calibrate", "--channel", "a", "--points", points); status != 1 || !strings.Contains(stderr, "points.csv:2: column 2") && !strings.Contains(stderr, "must be above 0") {
		t.Errorf("a table with a fault: status %d, %s", status, stderr)
	}
}

func TestParseReference(t *testing.T) {
	for text, want := range map[string][2]float64{
		"100.02A±0.02": {100.02, 0.02}, "-50A+-0.01": {-50, 0.01}, "1kA±0.2": {1000, 200}, "1kA±50mA": {1000, 0.05}, " 5 A ± 1e-3 ": {5, 1e-3}, "0A±10mA": {0, 0.01},
	} {
		amperes, u, err := parseReference(text)
		if err != nil || math.Abs(amperes-want[0]) > 1e-12 || math.Abs(u-want[1]) > 1e-12 {
			t.Errorf("%q: %g ± %g, %v", text, amperes, u, err)
		}
	}
	for _, text := range []string{"", "5", "5A", "5±1", "A±1", "5A±", "5A±0", "5A±-1", "NaNA±1", "5A±NaN", "InfA±1", "5A±1V", "5V±1", "1e308kA±1", "5A±1±1"} {
		if _, _, err := parseReference(text); err == nil {
			t.Errorf("%q is taken", text)
		}
	}
}

// FuzzParseReference takes nothing that is not finite, with an uncertainty above 0.
func FuzzParseReference(f *testing.F) {
	for _, text := range []string{"100.02A±0.02", "-50A+-0.01", "1kA±50mA", "NaNA±1", "5A±1e400"} {
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text string) {
		amperes, u, err := parseReference(text)
		if err == nil && !(u > 0 && u-u == 0 && amperes-amperes == 0) {
			t.Errorf("%q: %g ± %g", text, amperes, u)
		}
	})
}

func TestReadPoints(t *testing.T) {
	points, err := readPoints(writeFile(t, "points.csv", upAndDown))
	if err != nil || len(points) != 6 || *points[0].ReferenceAmperes != -100 || points[2].GetIndicatedUncertaintyAmperes() != 0 || points[5].GetSweep().String() != "SWEEP_DOWN" {
		t.Errorf("%v, %v", points, err)
	}
	const head = "reference_amperes,reference_uncertainty_amperes,indicated_amperes,sweep\n"
	for text, want := range map[string]string{
		"":                                "",
		"reference_amperes,sweep\n1,up\n": "has no column reference_uncertainty_amperes; it has reference_amperes, sweep",
		head:                              "has no points",
		head + "1,0.1,1,up\n1,0.1,x,up\n": "x",
		head + "1,0.1,NaN,up\n":           "finite",
		head + "1,0,1,up\n":               "above 0",
		head + "1,,1,up\n":                "",
		head + "1,0.1,1,around\n":         "none of up, down",
		head + "1,0.1,1\n":                "",
	} {
		if _, err := readPoints(writeFile(t, "points.csv", text)); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: want %q, got %v", text, want, err)
		}
	}
}

// FuzzPoints gives no point that is not finite, with an uncertainty above 0.
func FuzzPoints(f *testing.F) {
	f.Add(upAndDown)
	f.Add("reference_amperes,reference_uncertainty_amperes,indicated_amperes\n1,1e-320,inf\n")
	f.Fuzz(func(t *testing.T, text string) {
		from, err := table.NewReader(strings.NewReader(text), "points")
		if err != nil {
			return
		}
		points, err := pointsOf(from, "points")
		for _, p := range points {
			if err == nil && !(p.GetReferenceUncertaintyAmperes() > 0 && *p.ReferenceAmperes-*p.ReferenceAmperes == 0 && *p.IndicatedAmperes-*p.IndicatedAmperes == 0) {
				t.Errorf("%v", p)
			}
		}
	})
}

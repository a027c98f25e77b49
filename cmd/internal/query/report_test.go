package query

import (
	"bytes"
	"encoding/json"
	"encoding/xml"
	"errors"
	"io"
	"os"
	"reflect"
	"regexp"
	"strings"
	"testing"
)

// candidatesFile is two channels that nobody has bought yet; the second has a name that would break a page.
const candidatesFile = `
state: state
devices: [{name: adc, driver: replay, with: {file: not-there.csv}}]
conductors:
  - name: pack
    capacity_ampere_hours: 280
    channels:
      - {name: shunt, device: adc, input: a, noise_amperes: 0.02, zero_uncertainty_amperes: 0.03, gain_uncertainty_ratio: 0.001,
         shunt: {rated_amperes: 300, rated_millivolts: 60, gain: 20, bits: 16, volts_per_count: 0.0000625}}
      - {name: "a<b>&\"c</script>", device: adc, input: b, zero_uncertainty_amperes: 0.6, gain_uncertainty_ratio: 0.0001,
         magnetic: {volts_per_ampere: 0.005, rated_amperes: 400}}
`

// written runs a command and gives what it writes to standard output.
func written(t *testing.T, args ...string) []byte {
	t.Helper()
	stdout, stderr, status := run(t, args...)
	if status != 0 {
		t.Fatalf("status %d: %s", status, stderr)
	}
	return []byte(stdout)
}

func candidatesPath(t *testing.T) string {
	t.Helper()
	name := t.TempDir() + "/pack.yaml"
	if err := os.WriteFile(name, []byte(candidatesFile), 0o600); err != nil {
		t.Fatal(err)
	}
	return name
}

// A page holds all it needs: nothing is fetched, and what stands in it is what `ampledger budget --json` gives, to the last figure.
func TestReportStandsAlone(t *testing.T) {
	config := candidatesPath(t)
	page := string(written(t, "report", "budget", config, "-o", "-", "--temperature", "10,40"))
	if at := regexp.MustCompile(`(?i)\b(src|href|action|srcset)\s*=|url\(|@import|https?://(?:[^w]|www\.[^w]|www\.w[^3])`).FindString(page); at != "" {
		t.Errorf("something outside is named: %s", at)
	}
	_, figures, found := strings.Cut(page, `<script type="application/json" id="figures">`)
	figures, _, ended := strings.Cut(figures, "</script>")
	if !found || !ended {
		t.Fatal("no figures")
	}
	var inPage, alone any
	if err := errors.Join(json.Unmarshal([]byte(figures), &inPage), json.Unmarshal(written(t, "budget", config, "--json", "--temperature", "10,40"), &alone)); err != nil {
		t.Fatal(err)
	}
	if !reflect.DeepEqual(inPage, alone) {
		t.Error("the figures in the page are not those of budget --json")
	}
	if again := string(written(t, "report", "budget", config, "-o", "-", "--temperature", "10,40")); again != page {
		t.Error("the same configuration gives another page")
	}
	if strings.Contains(page, "a<b>") || !strings.Contains(page, "a&lt;b&gt;&amp;") {
		t.Error("a channel's name stands in the page as it is")
	}
}

// Each picture is one whole SVG that a strict reader takes: one for each temperature and one of the charge.
func TestReportPictures(t *testing.T) {
	page := string(written(t, "report", "budget", candidatesPath(t), "-o", "-", "--temperature", "10,40"))
	pictures := regexp.MustCompile(`(?s)<figure>(.*?)</figure>`).FindAllStringSubmatch(page, -1)
	if len(pictures) != 3 {
		t.Fatalf("%d pictures", len(pictures))
	}
	for i, picture := range pictures {
		texts, paths := 0, 0
		decoder := xml.NewDecoder(strings.NewReader(picture[1]))
		for {
			token, err := decoder.Token()
			if errors.Is(err, io.EOF) {
				break
			}
			if err != nil {
				t.Fatalf("picture %d: %v", i, err)
			}
			if start, is := token.(xml.StartElement); is {
				texts += count(start.Name.Local == "text")
				paths += count(start.Name.Local == "path")
			}
		}
		if texts < 5 || paths < 10 || !strings.Contains(picture[1], "pack / shunt") {
			t.Errorf("picture %d has %d texts and %d paths", i, texts, paths)
		}
	}
}

func count(is bool) int {
	if is {
		return 1
	}
	return 0
}

// The file is written as a whole; where it cannot be, or nobody said where, that is told.
func TestReportOutput(t *testing.T) {
	config := candidatesPath(t)
	name := t.TempDir() + "/b.html"
	written(t, "report", "budget", config, "-o", name)
	if text, err := os.ReadFile(name); err != nil || !bytes.HasSuffix(text, []byte("</html>\n")) {
		t.Errorf("%d bytes, %v", len(text), err)
	}
	for want, args := range map[string][]string{
		"--output is required":            {"report", "budget", config},
		"--output: open":                  {"report", "budget", config, "-o", t.TempDir() + "/no/b.html"},
		"report has no command \"bills\"": {"report", "bills"},
	} {
		if _, stderr, status := run(t, args...); status == 0 || !strings.Contains(stderr, want) {
			t.Errorf("%v: status %d, want %q, got %q", args, status, want, stderr)
		}
	}
}

// A numeric field of the JSON names its unit, or has none.
func TestBudgetUnits(t *testing.T) {
	var figures any
	if err := json.Unmarshal(written(t, "budget", candidatesPath(t), "--json"), &figures); err != nil {
		t.Fatal(err)
	}
	units := regexp.MustCompile(`_(amperes|celsius|seconds|hertz|volts|watts|ohms|millivolts|kelvin|ratio|microohm|percent|hours|per_day)$`)
	bare := map[string]bool{"amperes": true, "celsius": true, "seconds": true, "years": true, "value": true, "divisor": true, "sensitivity": true, "probability": true,
		"coverage_factor": true, "degrees_of_freedom": true, "effective_degrees_of_freedom": true, "counts_at_rated_current": true, "amperes_per_count": true}
	var visit func(key string, v any)
	visit = func(key string, v any) {
		switch v := v.(type) {
		case map[string]any:
			for k, inner := range v {
				visit(k, inner)
			}
		case []any:
			for _, inner := range v {
				visit(key, inner)
			}
		case float64:
			if !bare[key] && !units.MatchString(key) {
				t.Errorf("%s does not name its unit", key)
			}
		}
	}
	visit("", figures)
}

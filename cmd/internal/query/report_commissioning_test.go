package query

import (
	"encoding/json"
	"regexp"
	"strings"
	"testing"
)

// outside finds what a page would fetch.
var outside = regexp.MustCompile(`(?i)\b(src|href|action|srcset)\s*=|url\(|@import|https?://(?:[^w]|www\.[^w]|www\.w[^3])`)

// figuresOf gives the figures that stand in a page, and sees to it that nothing outside is named.
func figuresOf(t *testing.T, page string) (figures map[string]any) {
	t.Helper()
	if at := outside.FindString(page); at != "" {
		t.Errorf("something outside is named: %s", at)
	}
	_, text, found := strings.Cut(page, `<script type="application/json" id="figures">`)
	text, _, ended := strings.Cut(text, "</script>")
	if err := json.Unmarshal([]byte(text), &figures); err != nil || !found || !ended {
		t.Fatalf("figures: %v", err)
	}
	return figures
}

// TestCertificates calibrates a channel that nothing flows through, and writes the papers: all that was found stands in them, and the figures once more.
func TestCertificates(t *testing.T) {
	address := serveText(t, idle)
	ask := func(status int, args ...string) (stdout, stderr string) {
		t.Helper()
		stdout, stderr, got := run(t, append(args, "--address", address)...)
		if got != status {
			t.Fatalf("%v: status %d: %s%s", args, got, stdout, stderr)
		}
		return stdout, stderr
	}
	ask(0, "zero", "--for", "3s", "--force", "--by", "A. <b>")
	if _, stderr := ask(1, "report", "calibration", "--channel", "shunt", "-o", "-"); !strings.Contains(stderr, "has no calibration") {
		t.Errorf("without a calibration: %s", stderr)
	}
	ask(0, "calibrate", "--channel", "shunt", "--points", writeFile(t, "points.csv", upAndDown))
	ask(0, "calibrate", "fit", "--channel", "shunt", "--reference-gain", "0.0002", "--instrument", "meter 7", "--method", "up & down", "--by", "A. Meter", "--apply")
	page, _ := ask(0, "report", "calibration", "--channel", "shunt", "-o", "-")
	for _, want := range []string{
		"Calibration certificate", "shunt of pack (shunt, device rig, input shunt_code)", "A. Meter", "meter 7", "up &amp; down", "applied record 9, by record 10 of ", "<svg", "sense leads",
		"going up", "Combined, A", "end of the chain", `<td class="n">0.02</td>`,
	} {
		if !strings.Contains(page, want) {
			t.Errorf("the certificate lacks %q", want)
		}
	}
	figures := figuresOf(t, page)
	if points, _ := figures["points"].([]any); len(points) != 6 || len(figures["changes"].([]any)) != 1 || !regexp.MustCompile(`^\d+:[0-9a-f]{64}$`).MatchString(figures["chain_head"].(string)) {
		t.Errorf("figures: %v", figures)
	}
	alone, _ := ask(0, "report", "calibration", "--channel", "shunt", "-o", "-", "--json")
	var read map[string]any
	if err := json.Unmarshal([]byte(alone), &read); err != nil || len(read["points"].([]any)) != 6 {
		t.Errorf("--json: %v", err)
	}
	if _, stderr := ask(1, "report", "calibration", "--channel", "shunt", "--record", "3", "-o", "-"); !strings.Contains(stderr, "record 3 is no calibration") {
		t.Errorf("another record: %s", stderr)
	}

	// The magnetic channel's offset of 1.1 A is within the 2 A that are stated, so no check fails.
	page, _ = ask(0, "report", "commissioning", "--seconds", "2", "--state", "rest", "--by", "A. <b>", "-o", "-",
		"--config", writeFile(t, "pack.yaml", strings.Replace(idle, "noise_amperes: 0.4, zero", "gain_uncertainty_ratio: 0.01, noise_amperes: 0.4, zero", 1)))
	for _, want := range []string{"Uncertainty budget, by the configuration", "Combined standard uncertainty", "Commissioning of pack", "A. &lt;b&gt;", "where nothing flows", "counts of the range", "shunt and magnetic", "In force: applied record 9", "pick-up at 50 Hz", "zero &#43;0."} {
		if !strings.Contains(page, want) {
			t.Errorf("the paper lacks %q", want)
		}
	}
	figures = figuresOf(t, page)
	if findings := figures["findings"].([]any); len(findings) != 17 || len(figures["budget"].(map[string]any)["channels"].([]any)) != 2 {
		t.Errorf("figures: %v", figures)
	}
	if _, stderr := ask(1, "report", "commissioning", "--seconds", "1", "-o", "-", "--config", writeFile(t, "other.yaml", strings.Replace(idle, "name: pack", "name: other", 1))); !strings.Contains(stderr, "has no conductor pack") {
		t.Errorf("another configuration: %s", stderr)
	}
}

func TestCertificatesUsedWrongly(t *testing.T) {
	for args, want := range map[string]string{
		"report calibration -o x":                          "--channel and --output are required",
		"report calibration --channel a":                   "--channel and --output are required",
		"report commissioning":                             "--output is required",
		"report commissioning -o x --state idle":           "none of rest, charge, discharge",
		"report commissioning -o x --seconds 0":            "from 0.1 to 600",
		"report commissioning -o x --seconds 1 --state up": "none of rest",
	} {
		stdout, stderr, status := run(t, strings.Fields(args)...)
		if status != 2 || !strings.Contains(stderr, want) {
			t.Errorf("%s: status %d, %q%q, want %q", args, status, stdout, stderr, want)
		}
	}
}

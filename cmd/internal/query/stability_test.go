package query

import (
	"bytes"
	"context"
	"encoding/json"
	"encoding/xml"
	"errors"
	"fmt"
	"image/png"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"strings"
	"testing"

	"github.com/ampledger/ampledger/cmd/internal/cli"
	"github.com/ampledger/ampledger/daemon/config"
	filter "github.com/ampledger/ampledger/plugins/estimator/biasfilter"
	"github.com/ampledger/ampledger/plugins/plugin"
)

// zeroLogFile writes a log of white noise and a random walk, N = 0.02 A·√s and K = 0.0003 A/√s, two readings a second.
func zeroLogFile(t *testing.T) string {
	t.Helper()
	r := rand.New(rand.NewPCG(1, 2))
	var text strings.Builder
	text.WriteString("time_s,shunt_current_a\n")
	walk := 0.0
	for i := range 8000 {
		walk += 0.0003 * math.Sqrt(0.5) * r.NormFloat64()
		fmt.Fprintf(&text, "%g,%.6f\n", float64(i)/2, 0.3+walk+0.02/math.Sqrt(0.5)*r.NormFloat64())
	}
	name := t.TempDir() + "/zero.csv"
	if err := os.WriteFile(name, []byte(text.String()), 0o600); err != nil {
		t.Fatal(err)
	}
	return name
}

// stabilityOf runs the command and gives what it writes.
func stabilityOf(t *testing.T, args ...string) string {
	t.Helper()
	var stdout, stderr bytes.Buffer
	if status := cli.Run(t.Context(), Command(), append([]string{"stability"}, args...), &stdout, &stderr); status != 0 {
		t.Fatalf("status %d: %s", status, stderr.String())
	}
	return stdout.String()
}

func TestStabilityPictures(t *testing.T) {
	log, folder := zeroLogFile(t), t.TempDir()
	stabilityOf(t, log, "--plot", folder+"/a.png")
	stabilityOf(t, log, "--plot", folder+"/a.SVG")
	bitmap, err := os.Open(folder + "/a.png")
	if err != nil {
		t.Fatal(err)
	}
	defer bitmap.Close()
	image, err := png.Decode(bitmap)
	if err != nil || image.Bounds().Dx() < 600 || image.Bounds().Dy() < 400 {
		t.Fatalf("picture: %v, error %v", image, err)
	}
	red := 0
	for y := range image.Bounds().Dy() {
		for x := range image.Bounds().Dx() {
			if r, g, b, _ := image.At(x, y).RGBA(); r > 0xb000 && g < 0x4000 && b < 0x4000 {
				red++
			}
		}
	}
	if red < 500 {
		t.Errorf("%d pixels of the fitted curve", red)
	}
	drawing, err := os.ReadFile(folder + "/a.SVG")
	if err != nil {
		t.Fatal(err)
	}
	for decoder := xml.NewDecoder(bytes.NewReader(drawing)); err == nil; {
		_, err = decoder.Token()
	}
	if !errors.Is(err, io.EOF) {
		t.Error(err)
	}
	for _, want := range []string{"averaging time τ, s", "σ, A", "white noise, N = 0.02", "random walk, K = 0.0003", "fit", "95 % interval"} {
		if !bytes.Contains(drawing, []byte(want)) {
			t.Errorf("the drawing does not say %q", want)
		}
	}
}

// The settings are pasted into a configuration as they stand, and it must take them.
func TestStabilitySettingsAreTaken(t *testing.T) {
	text := stabilityOf(t, zeroLogFile(t))
	_, settings, _ := strings.Cut(text, "Settings of the channel that follow:\n")
	channel, conductors, found := strings.Cut(settings, "and of its conductor:\n")
	fixedzero, biasfilter, both := strings.Cut(conductors, "or, to have the charge corrected by each rest (put the channel's name for CHANNEL):\n")
	if !found || !both {
		t.Fatalf("no settings in\n%s", text)
	}
	takes(t, channel, fixedzero)
	with := takes(t, channel, strings.Replace(biasfilter, "CHANNEL", "shunt", 1)).With
	decodable, err := plugin.NewSettings(with)
	if err != nil {
		t.Fatal(err)
	}
	_, err = filter.New().Configure(t.Context(), plugin.Conductor{Channels: []*plugin.Channel{{Name: "shunt", ZeroUncertaintyAmperes: 1}}}, decodable)
	if keys := with["channels"].(map[string]any)["shunt"].(map[string]any); err != nil || len(keys) < 2 {
		t.Errorf("biasfilter does not take %v: %v", with, err)
	}
}

// takes writes settings into a configuration, wants it to be read, and gives its estimator.
func takes(t *testing.T, channel, conductor string) *config.Estimator {
	t.Helper()
	name := t.TempDir() + "/pack.yaml"
	file := "state: s\ndevices: [{name: a, driver: feed}]\nconductors:\n- name: pack\n" + conductor +
		"  channels:\n  - name: shunt\n    device: a\n    input: 1\n    reported: {}\n" + indent("  ", channel)
	if err := os.WriteFile(name, []byte(file), 0o600); err != nil {
		t.Fatal(err)
	}
	read, err := config.Load(name)
	if err != nil {
		t.Fatalf("%v in\n%s", err, file)
	}
	c := read.Conductors[0].Channels[0]
	if math.Abs(c.NoiseAmperes/(0.02/math.Sqrt(0.5))-1) > 0.05 || !(c.ZeroUncertaintyAmperes > 0.28 && c.ZeroUncertaintyAmperes < 0.35) {
		t.Errorf("noise %g A, zero %g A", c.NoiseAmperes, c.ZeroUncertaintyAmperes)
	}
	return read.Conductors[0].Estimator
}

func indent(by, text string) string {
	var b strings.Builder
	for line := range strings.Lines(text) {
		b.WriteString(by + line)
	}
	return b.String()
}

func TestStabilityJSON(t *testing.T) {
	var got stabilityJSON
	if err := json.Unmarshal([]byte(stabilityOf(t, zeroLogFile(t), "--json")), &got); err != nil {
		t.Fatal(err)
	}
	n, k := got.Coefficients["noise_density_ampere_root_seconds"], got.Coefficients["walk_density_amperes_per_root_second"]
	if n.Lower > 0.02 || *n.Upper < 0.02 || k.Lower > 0.0003 || *k.Upper < 0.0003 || !k.Resolved {
		t.Errorf("N %+v, K %+v", n, k)
	}
	if walk := got.Settings.Fixedzero["walk_amperes_per_root_hour"]; walk != k.Value*60 {
		t.Errorf("walk %g, want %g", walk, k.Value*60)
	}
	if b := got.Settings.Biasfilter; b["zero_walk_amperes_per_root_hour"] != k.Value*60 || b["noise_amperes"] != got.Settings.Channel["noise_amperes"] {
		t.Errorf("biasfilter %v", b)
	}
	if len(got.Deviations) < 10 || got.Log.ReadingCount != 8000 || len(got.Warnings) != 0 {
		t.Errorf("%d deviations of %d readings, warnings %v", len(got.Deviations), got.Log.ReadingCount, got.Warnings)
	}
}

func TestStabilityEndsWhenInterrupted(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	var stdout, stderr bytes.Buffer
	if status := cli.Run(ctx, Command(), []string{"stability", zeroLogFile(t)}, &stdout, &stderr); status != 1 || stdout.Len() > 0 {
		t.Errorf("status %d, %s", status, stdout.String())
	}
}

package query

import (
	"bytes"
	"encoding/xml"
	"image/png"
	"math"
	"os"
	"testing"

	"github.com/ampledger/ampledger/cmd/internal/cli"
	"github.com/ampledger/ampledger/daemon/score"
)

const scoredPack = `
state: state
devices:
  - name: rig
    driver: simulate
    with:
      {seed: 40, rate_hertz: 10, duration_seconds: 60, speed: 0, truth: true, repeat: true,
       duty: [{seconds: 10, contactor_open: true}, {seconds: 20, hold_amperes: 50}],
       shunt: {resistance_ohms: 0.0001, gain: 50, bits: 16, volts_per_code: 0.0001, noise_amperes: 0.1, offset_amperes: 0.5, walk_amperes_per_root_hour: 2}}
conductors:
  - name: pack
    contactor: {device: rig, input: contactor_open}
    channels:
      - {name: shunt, device: rig, input: shunt_code, shunt: {resistance_ohms: 0.0001, gain: 50}, noise_amperes: 0.1, zero_uncertainty_amperes: 1}
    estimator: {plugin: fixedzero, with: {zero: each-rest, walk_amperes_per_root_hour: 2}}
`

// TestScorePictures draws both formats: the band, the live and the true offset must be there.
func TestScorePictures(t *testing.T) {
	t.Chdir(t.TempDir())
	if err := os.WriteFile("pack.yaml", []byte(scoredPack), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"a.png", "a.svg"} {
		var stdout, stderr bytes.Buffer
		if status := cli.Run(t.Context(), Command(), []string{"score", "pack.yaml", "--truth", "rig/true_amperes", "--plot", name}, &stdout, &stderr); status != 0 {
			t.Fatalf("status %d: %s", status, stderr.String())
		}
	}
	drawing, err := os.ReadFile("a.svg")
	if err != nil {
		t.Fatal(err)
	}
	if err := xml.Unmarshal(drawing, new(struct{ XMLName xml.Name })); err != nil {
		t.Error(err)
	}
	bitmap, err := os.ReadFile("a.png")
	if err != nil {
		t.Fatal(err)
	}
	image, err := png.Decode(bytes.NewReader(bitmap))
	if err != nil {
		t.Fatal(err)
	}
	counts := map[[3]uint32]int{}
	for y := range image.Bounds().Dy() {
		for x := range image.Bounds().Dx() {
			r, g, b, _ := image.At(x, y).RGBA()
			counts[[3]uint32{r >> 8, g >> 8, b >> 8}]++
		}
	}
	for what, shade := range map[string][3]uint32{"band": {174, 205, 232}, "live": {31, 90, 160}, "compared": {190, 120, 20}} {
		if counts[shade] < 60 {
			t.Errorf("%d pixels of %s", counts[shade], what)
		}
	}
}

func TestRoundTicks(t *testing.T) {
	for _, c := range []struct {
		least, greatest, step float64
	}{{0, 24, 5}, {0, 9, 1}, {-0.65, 1.9, 0.5}, {0, 119.9, 20}, {0, 1e-3, 2e-4}} {
		ticks := roundTicks(c.least, c.greatest)
		if n := len(ticks); n < 3 || n > mostTicks+1 || math.Abs(ticks[1].Value-ticks[0].Value-c.step) > 1e-12 {
			t.Errorf("%g to %g: %v", c.least, c.greatest, ticks)
		}
	}
	if ticks := roundTicks(1, 1); len(ticks) > 1 {
		t.Errorf("an axis of no length: %v", ticks)
	}
}

// TestInfiniteRatios: where no uncertainty is stated and there is an error, the ratio is infinite, and JSON has no number for it.
func TestInfiniteRatios(t *testing.T) {
	run := &score.Run{Scores: []score.Score{{Channel: "shunt", ErrorCoulombs: 1, WorstRatio: math.Inf(1), MeanSquareRatio: math.Inf(1)}}}
	var text, object bytes.Buffer
	if err := writeRun(&text, run); err != nil || bytes.Count(text.Bytes(), []byte("∞")) != 3 {
		t.Errorf("%v:\n%s", err, text.String())
	}
	if err := writeScoreJSON(&object, newRunJSON(run)); err != nil || bytes.Count(object.Bytes(), []byte("null")) != 4 {
		t.Errorf("%v:\n%s", err, object.String())
	}
}

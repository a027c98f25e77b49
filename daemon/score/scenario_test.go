package score_test

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/ampledger/ampledger/daemon/config"
)

// scenario is a pack under a stretch of stationary duty, of which the rest is drawn: where it rests, and what its hysteresis is made of.
type scenario struct {
	days     float64
	least    float64 // share of the time at rest, drawn between
	most     float64
	standing float64  // amperes that flow in a rest
	shunt    string   // settings of the simulated sensors; empty = there is none
	magnetic string   // "%s" in it stands for operators
	channels []string // of the conductor
	more     string   // of the conductor: what stands beside its channels, such as where its charge is taken from
	with     string   // settings of biasfilter
	faults   string
}

const (
	stepSeconds = 600
	daySteps    = 86400 / stepSeconds
	capacity    = 280 // Ah
)

// profiles are the levels of testdata/recordings/stationary_duty_profiles.csv by name.
func profiles(t testing.TB) (all [][]float64) {
	t.Helper()
	text, err := os.ReadFile("../../testdata/recordings/stationary_duty_profiles.csv")
	if err != nil {
		t.Fatal(err)
	}
	reader := csv.NewReader(bytes.NewReader(text))
	reader.Comment = '#'
	rows, err := reader.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	name := ""
	for _, row := range rows[1:] {
		if row[0] != name {
			name, all = row[0], append(all, nil)
		}
		level, err := strconv.ParseFloat(row[2], 64)
		if err != nil {
			t.Fatal(err)
		}
		all[len(all)-1] = append(all[len(all)-1], level)
	}
	return all
}

// rests draws which steps of a duty are rests, of ten minutes to half an hour each.
func (s *scenario) rests(chance *rand.Rand, steps int) []bool {
	open, left := make([]bool, steps), 0
	share := s.least + (s.most-s.least)*chance.Float64()
	for i := range open {
		switch {
		case left > 0:
			left--
			open[i] = true
		case chance.Float64() < share/2/(1-share):
			left = chance.IntN(3)
			open[i] = true
		}
	}
	return open
}

// levels writes a file of levels: the duty from some step on, with rests in it. A level that the duty itself leaves as it is moves by a
// millionth, for that is no rest.
func (s *scenario) levels(chance *rand.Rand, duty []float64, from int) string {
	steps := int(math.Ceil(s.days * daySteps))
	text, level := strings.Builder{}, 0.5
	text.WriteString("time_s,level\n0,0.5\n")
	for i, open := range s.rests(chance, steps) {
		if !open {
			at := (from + i) % (len(duty) - 1)
			if change := duty[at+1] - duty[at]; change != 0 {
				level += change
			} else {
				level += 1e-6
			}
		}
		fmt.Fprintf(&text, "%d,%.9f\n", (i+1)*stepSeconds, level)
	}
	return text.String()
}

// operators draws what the hysteresis is made of: three play operators of other half-widths than the filter's, of weights that together
// leave amperes of error after a full-scale excursion, as a standard deviation.
func operators(chance *rand.Rand, amperes, fullScale float64) string {
	var all []string
	for range 3 {
		all = append(all, fmt.Sprintf("{half_width_amperes: %g, weight_amperes: %g}", fullScale*0.01*math.Pow(40, chance.Float64()), amperes/math.Sqrt(3)))
	}
	return strings.Join(all, ", ")
}

// config draws one pack: scenario number k.
func (s *scenario) config(t testing.TB, duties [][]float64, k int) *config.Config {
	t.Helper()
	chance := rand.New(rand.NewPCG(uint64(k), 99))
	duty := duties[k%len(duties)]
	levels := filepath.Join(t.TempDir(), "levels.csv")
	if err := os.WriteFile(levels, []byte(s.levels(chance, duty, k/len(duties)*daySteps)), 0o600); err != nil {
		t.Fatal(err)
	}
	sensors := s.shunt
	if s.magnetic != "" {
		sensors += "\n      magnetic: " + strings.Replace(s.magnetic, "%s", operators(chance, 0.5, 500), 1)
	}
	return load(t, fmt.Sprintf(`
state: state
devices:
  - name: rig
    driver: simulate
    with:
      seed: %d
      rate_hertz: 1
      duration_seconds: %g
      speed: 0
      temperature: {mean_celsius: 25, swing_kelvin: 8, period_seconds: 86400}
      duty: [{levels_file: %q, capacity_ampere_hours: %d, rest_when_unchanged: true, standing_amperes: %g}]
      %s
      %s
conductors:
  - name: pack
    contactor: {device: rig, input: contactor_open}
    channels: [%s]
    %s
    estimator: {plugin: biasfilter, with: {%s}}
`, 1+1000*k, s.days*86400, levels, capacity, s.standing, sensors, s.faults, strings.Join(s.channels, ", "), s.more, s.with))
}

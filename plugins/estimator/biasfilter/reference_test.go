package biasfilter

import (
	"encoding/csv"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"testing"

	"github.com/ampledger/ampledger/plugins/plugin"
)

// table reads one of the published tables.
func table(t *testing.T, name string) (rows []map[string]string) {
	t.Helper()
	file, err := os.Open(filepath.Join("../../../testdata/reference", name))
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	reader := csv.NewReader(file)
	reader.Comment = '#'
	all, err := reader.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	for _, record := range all[1:] {
		row := map[string]string{}
		for i, name := range all[0] {
			row[name] = record[i]
		}
		rows = append(rows, row)
	}
	return rows
}

func figure(t *testing.T, row map[string]string, column string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(row[column], 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

func near(t *testing.T, what string, got, want, relative float64) {
	t.Helper()
	if !(math.Abs(got-want) <= relative*math.Abs(want)) {
		t.Errorf("%s: %.12g, want %.12g", what, got, want)
	}
}

// nileResult gives a figure of the Nile model: data of Cobb (1978), model and variances of Durbin and Koopman (2001, 2012), chapter 2.
func nileResult(t *testing.T, quantity string) float64 {
	t.Helper()
	for _, row := range table(t, "nile_local_level_results.csv") {
		if row["quantity"] == quantity {
			return figure(t, row, "recomputed")
		}
	}
	t.Fatal("no figure ", quantity)
	return 0
}

const (
	nileNoise = 15099.0 // H
	nileWalk  = 1469.1  // Q
)

// A zero that walks, measured once a year: Durbin and Koopman's local level model of the Nile, step by step, from the exact diffuse start.
func TestNile(t *testing.T) {
	rows := table(t, "nile_local_level.csv")
	f := newFilter(1)
	f.draw(0, figure(t, rows[0], "y"), nileNoise)
	form := []term{{0, 1}}
	logLikelihood, squared := 0.0, 0.0
	for _, row := range rows[1:] {
		f.walk(0, nileWalk, 1)
		near(t, row["year"]+" a", f.x[0], figure(t, row, "a"), 1e-8)
		near(t, row["year"]+" P", f.p[0], figure(t, row, "P"), 1e-8)
		v, s := f.update(form, figure(t, row, "y"), nileNoise)
		near(t, row["year"]+" F", s, figure(t, row, "F"), 1e-8)
		if math.Abs(v-figure(t, row, "v")) > 1e-6 {
			t.Errorf("%s v: %v", row["year"], v)
		}
		near(t, row["year"]+" filtered a", f.x[0], figure(t, row, "a_filt"), 1e-8)
		near(t, row["year"]+" filtered P", f.p[0], figure(t, row, "P_filt"), 1e-8)
		logLikelihood -= (math.Log(2*math.Pi*s) + v*v/s) / 2
		squared += v * v / s
	}
	near(t, "log-likelihood", logLikelihood, nileResult(t, "loglik at (15099; 1469.1), diffuse, n-1 terms"), 1e-10)
	near(t, "statsmodels' log-likelihood", logLikelihood-math.Log(2*math.Pi)/2, nileResult(t, "loglik at (15099; 1469.1), statsmodels convention"), 1e-10)
	near(t, "NIS", squared, nileResult(t, "sum of squared standardised innovations 1872-1970 (99 terms)"), 1e-9)
	near(t, "steady state, filtered", f.p[0], nileResult(t, "steady-state filtered variance P_filt"), 1e-9)
	f.walk(0, nileWalk, 1)
	near(t, "steady state, predicted", f.p[0], nileResult(t, "steady-state predicted variance P"), 1e-9)
	near(t, "level of 1971", f.x[0], nileResult(t, "predicted level for 1971"), 1e-9)
}

// The same, as summaries of a rest of a hundred seconds, from the approximate diffuse start a = 0, P = 1e7 of the same book.
func TestNileAsARest(t *testing.T) {
	const start = 1e7
	e := started(t, with{"gate": 1e6, "channels": with{"nile": with{
		"zero_error_amperes": math.Sqrt(start - nileWalk), "zero_walk_amperes_per_root_hour": 60 * math.Sqrt(nileWalk), "zero_drift_amperes_per_kelvin": 0,
		"noise_amperes": math.Sqrt(nileNoise), "floor_amperes": 1e-6,
	}}}, &plugin.Channel{Name: "nile"})
	logLikelihood := 0.0
	zero := []term{{e.channels[0].at.zero, 1}}
	for k, row := range table(t, "nile_local_level.csv") {
		y := figure(t, row, "y")
		mean, variance := e.filter.value(zero)
		s := variance + nileWalk + nileNoise
		logLikelihood -= (math.Log(2*math.Pi*s) + (y-mean)*(y-mean)/s) / 2
		at := int64(k+1) * 1e9
		c := &plugin.ChannelSummary{Name: "nile", ReadingCount: 1, MeanAmperes: y, IntegralSeconds: 1, IntegralCoulombs: y}
		summary := &plugin.Summary{
			FirstSequence: uint64(k), LastSequence: uint64(k), FirstMonotonicNanos: at, LastMonotonicNanos: at, Rest: restCertain, Channels: []*plugin.ChannelSummary{c},
		}
		if err := e.update(summary); err != nil {
			t.Fatal(err)
		}
	}
	near(t, "log-likelihood", logLikelihood, nileResult(t, "loglik at (15099; 1469.1), approximate diffuse P1 = 1e7 and a1 = 0"), 1e-9)
	near(t, "level of 1971", e.filter.x[0], nileResult(t, "predicted level for 1971"), 1e-8)
}

// The growth laws of an integral of a bias (GUM 5.2), of a random walk (IEEE Std 952, rate random walk: qt³/3) and of a gain (GUM 5.1.6); the
// figures, in Ah, for 10 mA and 0.1 mA/√s. White noise has no part in B.
func TestGrowthLaws(t *testing.T) {
	for _, c := range []struct{ seconds, bias, walk float64 }{
		{60, 1.666667e-4, 7.453560e-6}, {600, 0.01 * 600 / 3600, 8.4852814 / 36000}, {3600, 0.01, 3.464102e-3}, {86400, 0.24, 0.4072936}, {604800, 1.68, 7.543181},
	} {
		const amperes, summaries = 100.0, 60
		for _, part := range []struct {
			name             string
			bias, walk, gain float64
			want             float64
		}{
			{"bias", 0.01, 0, 0, c.bias},
			{"walk", 1e-12, 1e-4, 0, c.walk},
			{"gain", 1e-12, 0, 0.002, 0.002 * amperes * c.seconds / 3600},
			{"all", 0.01, 1e-4, 0.002, math.Sqrt(c.bias*c.bias + c.walk*c.walk + math.Pow(0.002*amperes*c.seconds/3600, 2))},
		} {
			e := started(t, with{"channels": with{"main": with{
				"zero_error_amperes": part.bias, "zero_walk_amperes_per_root_hour": 60 * part.walk, "gain_error_ratio": part.gain, "noise_amperes": 5,
			}}}, mainChannel())
			s := scriptOf(t, e)
			s.seconds = c.seconds / summaries
			for range summaries {
				s.next(restNone, amperes)
			}
			near(t, part.name, s.last.GetCorrectionUncertaintyCoulombs()/3600, part.want, 5e-7)
		}
	}
}

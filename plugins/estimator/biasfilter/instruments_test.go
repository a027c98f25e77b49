package biasfilter

import (
	"bytes"
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"testing"

	"gonum.org/v1/gonum/stat"

	"github.com/ampledger/ampledger/plugins/plugin"
)

// twoInstruments gives the columns of testdata/recordings/two_sensors_charge_early.csv: three charges, each read by two instruments at once.
func twoInstruments(t *testing.T) (records []string, seconds, a, b []float64) {
	t.Helper()
	text, err := os.ReadFile("../../../testdata/recordings/two_sensors_charge_early.csv")
	if err != nil {
		t.Fatal(err)
	}
	reader := csv.NewReader(bytes.NewReader(text))
	reader.Comment = '#'
	rows, err := reader.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	for _, row := range rows[1:] {
		var figures [3]float64
		for i := range figures {
			if figures[i], err = strconv.ParseFloat(row[1+i], 64); err != nil {
				t.Fatal(err)
			}
		}
		records, seconds = append(records, row[0]), append(seconds, figures[0])
		a, b = append(a, figures[1]), append(b, figures[2])
	}
	return records, seconds, a, b
}

// readingsOf sums up what an instrument read at some times, as the daemon would: the integral is a trapezoid from the reading before on.
func readingsOf(name string, seconds, amperes []float64, from, to int) *plugin.ChannelSummary {
	mean, variance := stat.MeanVariance(amperes[from:to], nil)
	c := &plugin.ChannelSummary{
		Name: name, ReadingCount: uint32(to - from), MeanAmperes: mean, VarianceSquareAmperes: variance, MinimumAmperes: amperes[from], MaximumAmperes: amperes[from],
	}
	for k := from; k < to; k++ {
		c.MinimumAmperes, c.MaximumAmperes = min(c.MinimumAmperes, amperes[k]), max(c.MaximumAmperes, amperes[k])
		if k > 0 && seconds[k] > seconds[k-1] {
			c.IntegralSeconds += seconds[k] - seconds[k-1]
			c.IntegralCoulombs += (amperes[k] + amperes[k-1]) / 2 * (seconds[k] - seconds[k-1])
		}
	}
	return c
}

// Two instruments read the same charging current, and nobody says which is right. What one fixed gain and offset makes of one the other is a
// straight line while it charges, as the file says; the filter finds it from the differences of its two channels alone, without a rest. The
// three readings that lead into each charge, the zero and the plunge, take part in its means.
func TestTwoInstruments(t *testing.T) {
	const scans, resolution = 8, 0.002
	records, seconds, a, b := twoInstruments(t)
	noise := resolution / math.Sqrt(12)
	// The taper is so slow that several differences in a row are rounded the same way.
	mine := with{"zero_error_amperes": 0.02, "zero_walk_amperes_per_root_hour": 1e-5, "gain_error_ratio": 0.02, "floor_amperes": noise}
	e := started(t, with{"channels": with{"a": mine, "b": mine}, "difference_seconds": 20},
		&plugin.Channel{Name: "a", NoiseAmperes: noise}, &plugin.Channel{Name: "b", NoiseAmperes: noise})
	for from := 0; from < len(a); {
		to := from + 1
		for to < len(a) && to < from+scans && records[to] == records[from] {
			to++
		}
		_, err := e.Observe(&plugin.Summary{
			FirstSequence: uint64(from), LastSequence: uint64(to) - 1, FirstMonotonicNanos: int64(seconds[from] * 1e9), LastMonotonicNanos: int64(seconds[to-1] * 1e9),
			Rest: restNone, Channels: []*plugin.ChannelSummary{readingsOf("a", seconds, a, from, to), readingsOf("b", seconds, b, from, to)},
		})
		if err != nil {
			t.Fatal(err)
		}
		from = to
	}
	if notes := e.Notes(); len(notes) > 0 {
		t.Error(notes)
	}
	var x, y []float64
	for i := range a {
		if a[i] > 0 {
			x, y = append(x, a[i]), append(y, b[i])
		}
	}
	offset, slope := stat.LinearRegression(x, y, nil, false)
	t.Logf("least squares: b = %.6f A + %.6f·a", offset, slope)
	p, q := e.channels[0].at, e.channels[1].at
	for what, c := range map[string]struct {
		form []term
		want float64
		most float64
	}{
		"gain":   {[]term{{q.gain, 1}, {p.gain, -1}}, slope - 1, 5e-4},
		"offset": {[]term{{q.zero, 1}, {p.zero, -1}}, offset, 5e-4},
	} {
		got, variance := e.filter.value(c.form)
		u := math.Sqrt(variance)
		t.Logf("%s: %.6f ± %.6f (σ)", what, got, u)
		if math.Abs(got-c.want) > 1.96*u || u > c.most {
			t.Errorf("%s: %.6f ± %.6f (σ), by least squares %.6f; σ at most %g", what, got, u, c.want, c.most)
		}
	}
}

package coulombsoc

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"testing"

	"github.com/ampledger/ampledger/plugins/plugin"
)

// row is a row of a recording: what the log shows, and the charge that the test bench's own counter has taken in since the log began.
type row struct{ seconds, amperes, counted float64 }

// recording reads one of P. Kollmeyer's (doi 10.17632/wykht8y7tg.1; see the file's header), in which positive current is charge.
func recording(t *testing.T, name string) (rows []row) {
	file, err := os.Open("../../../testdata/recordings/" + name)
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	r := csv.NewReader(file)
	r.Comment = '#'
	all, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	for _, fields := range all[1:] {
		var v [3]float64
		for i := range v {
			if v[i], err = strconv.ParseFloat(fields[i], 64); err != nil {
				t.Fatal(err)
			}
		}
		rows = append(rows, row{v[0], v[1], v[2] * 3600})
	}
	for i := range rows[1:] {
		rows[i+1].counted -= rows[0].counted
	}
	rows[0].counted = 0
	return rows
}

// meter is what is taken of the bench's current: its resolution makes the zero uncertain, and 0.05 % of gain are common for test benches, without a source. A
// gap is bounded by a current.
type meter struct{ zero, gain, gapSeconds, bound float64 }

var bench = meter{zero: 0.0008 / 3.4641, gain: 0.0005, gapSeconds: 1, bound: 5}

// count lets a row's charge flow by the trapezoid.
func (m *meter) count(p *pack, from, to row) {
	seconds := to.seconds - from.seconds
	in := (from.amperes + to.amperes) / 2 * seconds
	c := p.charge
	c.InCoulombs += max(0, in)
	c.OutCoulombs += max(0, -in)
	c.ZeroCoulombs += m.zero * seconds
	c.NetUncertaintyCoulombs += m.zero*seconds + m.gain*math.Abs(in)
	c.GainRatio = m.gain
	// Half an interval of a step of the current, rectangular.
	edge := math.Abs(to.amperes-from.amperes) * seconds / 2
	c.NoiseSquareCoulombs += edge * edge / 3
	if seconds > m.gapSeconds {
		c.GapBoundCoulombs += m.bound * seconds
	}
}

func stored29() with {
	return exact(with{"capacity_coulombs": 2.9 * 3600, "capacity_uncertainty_ratio": 0.05})
}

// TestADriveAgainstTheBenchsCounter begins full and compares the charge left at each row with what the bench counted on its own, over a drive with
// regenerative braking and seven gaps of two seconds.
func TestADriveAgainstTheBenchsCounter(t *testing.T) {
	rows := recording(t, "drive_us06_25c_10hz.csv")
	p := started(t, stored29()).next(stores(2.9*3600, 1))
	outside, worst := 0, 0.0
	for i, to := range rows[1:] {
		bench.count(p, rows[i], to)
		if i%10 != 0 {
			continue
		}
		p.next()
		value, u := p.output(left)
		off := math.Abs(value - (2.9*3600 + to.counted))
		worst = max(worst, off)
		if off > 1.96*u {
			outside++
		}
	}
	value, u := p.output(left)
	t.Logf("%.1f C ± %.1f C left, by the counter %.1f C; at most %.1f C apart", value, u, 2.9*3600+rows[len(rows)-1].counted, worst)
	if outside*20 > len(rows)/10 || u > 60 {
		t.Errorf("%d of %d intervals do not hold the counter's charge; the last is ± %g C", outside, len(rows)/10, u)
	}
}

// TestASlowDischargeMeasuresTheCapacity says where the cell is full and where it is empty, and wants what the bench's counter found in between,
// 2.99491 Ah by the header, of a cell that is rated 2.9 Ah.
func TestASlowDischargeMeasuresTheCapacity(t *testing.T) {
	settings := stored29()
	settings["marks"] = asShare
	p := started(t, settings).next()
	slow := bench
	slow.gapSeconds = 61
	rows := recording(t, "cell_c20_discharge_charge_60s.csv")
	for i, to := range rows[1:] {
		slow.count(p, rows[i], to)
		var marks []*plugin.Mark
		switch to.seconds {
		case 300.019:
			marks = []*plugin.Mark{stores(2.9*3600, 10)}
		case 74680.886:
			marks = []*plugin.Mark{stores(0, 10)}
		}
		p.next(marks...)
		p.wantNotes()
		if to.seconds == 74680.886 {
			break
		}
	}
	value, u := p.output(full)
	t.Logf("the capacity is %.5f Ah ± %.5f Ah", value/3600, u/3600)
	if want := 2.99491 * 3600; math.Abs(value-want) > 1.96*u || u > 30 {
		t.Errorf("the capacity is %g C ± %g C, by the counter %g C", value, u, want)
	}
	if share, u := p.output(soc); math.Abs(share) > 1.96*u || u > 0.002 {
		t.Errorf("the state of charge of the empty cell is %g ± %g", share, u)
	}
}

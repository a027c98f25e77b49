package query

import (
	"fmt"
	"io"
	"math"
	"path/filepath"
	"text/tabwriter"

	"github.com/ampledger/ampledger/cmd/internal/show"
	"github.com/ampledger/ampledger/daemon/metrology/stability"
)

const (
	coulombsPerAmpereHour = 3600
	secondsPerDay         = 86400
)

// writeText writes the study for people.
func (s *zeroStudy) writeText(to io.Writer) error {
	fmt.Fprintf(to, "Stability of %s in %s\n", s.log.column, filepath.Base(s.log.name))
	s.writeReading(to)
	s.writeOffset(to)
	for _, warning := range s.warnings() {
		fmt.Fprintf(to, "warning: %s\n", warning)
	}
	fmt.Fprintln(to)
	if err := s.writePoints(to); err != nil {
		return err
	}
	fmt.Fprintln(to)
	if err := s.writeModel(to); err != nil {
		return err
	}
	fmt.Fprintln(to)
	return s.writeSettings(to)
}

// writeReading says how the log was read and made even.
func (s *zeroStudy) writeReading(to io.Writer) {
	g := s.grid
	how := fmt.Sprintf("even to %.1g %%", g.LargestJitter*100)
	if g.Averaged {
		how = "uneven, averaged in buckets of that length"
	}
	fmt.Fprintf(to, "  %d readings over %s, %.6g s apart (%s)\n", g.Readings, show.Duration(int64(g.CoveredSeconds*1e9)), g.IntervalSeconds, how)
	if g.Gaps > 0 {
		fmt.Fprintf(to, "  %d gap(s), %s in all, left out; %d segments, combined\n", g.Gaps, show.Duration(int64(g.GapSeconds*1e9)), len(g.Segments))
	}
	if g.LeftOut > 0 {
		fmt.Fprintf(to, "  %d reading(s) stand alone between gaps and are left out\n", g.LeftOut)
	}
	if g.Bridged > 0 {
		fmt.Fprintf(to, "  %d bucket(s) were empty and got the mean of their neighbours\n", g.Bridged)
	}
	if s.log.missing > 0 {
		fmt.Fprintf(to, "  %d row(s) without a value, left out\n", s.log.missing)
	}
}

func (s *zeroStudy) writeOffset(to io.Writer) {
	o := s.offset
	fmt.Fprintf(to, "  mean of the readings %+.5f A; mean over time %+.5f A, standard uncertainty as the zero at the log's end %.2g A\n",
		o.MeanAmperes, o.TimeMeanAmperes, s.zero)
	fmt.Fprintf(to, "  integrated: %+.4f Ah in %s; that is %+.4f Ah a day that never flowed\n", o.ChargeCoulombs/coulombsPerAmpereHour,
		show.Duration(int64(o.Seconds*1e9)), o.TimeMeanAmperes*secondsPerDay/coulombsPerAmpereHour)
}

// warnings say what makes the figures worth less than they look.
func (s *zeroStudy) warnings() (all []string) {
	r, g := s.resolution, s.grid
	if r.Coarse {
		all = append(all, fmt.Sprintf("the log is coarser than its noise: steps of %.3g A, scatter %.3g A. The zero may be off by a part of a step (%.2g A is added to its "+
			"uncertainty), and what looks like noise is partly rounding; record with a finer resolution", r.StepAmperes, r.ScatterAmperes, r.RoundingAmperes()))
	}
	if buckets := g.CoveredSeconds/g.IntervalSeconds + 1; float64(g.Bridged) > 0.05*buckets {
		all = append(all, fmt.Sprintf("%.0f %% of the buckets were empty, which makes short averages look quieter than they are; average longer, such as --interval %.3g",
			100*float64(g.Bridged)/buckets, 2*g.IntervalSeconds))
	}
	if total := g.CoveredSeconds + g.GapSeconds; g.GapSeconds > 0.1*total {
		all = append(all, fmt.Sprintf("%.0f %% of the time is gaps; if the log is only sparse there, average longer with --interval", 100*g.GapSeconds/total))
	}
	if s.noSlope != nil {
		all = append(all, "no temperature slope: "+s.noSlope.Error())
	}
	return all
}

func (s *zeroStudy) writePoints(to io.Writer) error {
	rows := tabwriter.NewWriter(to, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(rows, "τ, s\tσ, A\t95 % from\tto\tedf\tnoise\tfit, A\t")
	for _, p := range s.points {
		fmt.Fprintf(rows, "%.6g\t%.3e\t%.3e\t%.3e\t%.1f\t%s\t%.3e\t\n", p.TauSeconds, p.DeviationAmperes, p.LowerAmperes, p.UpperAmperes, p.EDF, p.Noise,
			s.model.DeviationAmperes(p.TauSeconds))
	}
	return rows.Flush()
}

func (s *zeroStudy) writeModel(to io.Writer) error {
	rows := tabwriter.NewWriter(to, 0, 0, 2, ' ', 0)
	for _, each := range s.coefficients() {
		fmt.Fprintf(rows, "%s\t%s\t%s\n", each.label, coefficientText(each.of, each.unit), each.inWords())
	}
	if t := s.temperature; t != nil {
		fmt.Fprintf(rows, "temperature slope\t%+.3g ± %.2g A/K\tstandard uncertainty; %.1f °C to %.1f °C\n", t.SlopeAmperesPerKelvin, t.StandardUncertainty,
			t.LowestCelsius, t.HighestCelsius)
	}
	return rows.Flush()
}

// named is a coefficient of the model with its words.
type named struct {
	label, key, unit string
	of               stability.Coefficient
	meaning          func(value float64) string
}

// inWords says what a coefficient means; of one that is not seen, what it may mean at most.
func (n named) inWords() string {
	switch {
	case math.IsInf(n.of.Upper, 1):
		return ""
	case !n.of.Resolved():
		return "at most: " + n.meaning(n.of.Upper)
	}
	return n.meaning(n.of.Value)
}

func (s *zeroStudy) coefficients() []named {
	m := s.model
	return []named{
		{"noise density N", "noise_density_ampere_root_seconds", "A·√s", m.WhiteDensity, func(v float64) string {
			return fmt.Sprintf("%.2g Ah in the charge of a day", v*math.Sqrt(secondsPerDay)/coulombsPerAmpereHour)
		}},
		{"flicker floor B", "flicker_floor_amperes", "A", m.FlickerFloor, func(v float64) string {
			return fmt.Sprintf("an average never comes below %.2g A", v*math.Sqrt(2*math.Ln2/math.Pi))
		}},
		{"random walk K", "walk_density_amperes_per_root_second", "A/√s", m.WalkDensity, func(v float64) string {
			return fmt.Sprintf("the zero wanders %.2g A in an hour, %.2g A in a day", v*60, v*math.Sqrt(secondsPerDay))
		}},
		{"drift R", "drift_amperes_per_second", "A/s", m.Drift, func(v float64) string {
			return fmt.Sprintf("%.2g A in a day, one way or the other", v*secondsPerDay)
		}},
	}
}

// coefficientText writes a value with its limits, or only the upper limit if the log does not show that there is any.
func coefficientText(c stability.Coefficient, unit string) string {
	switch {
	case math.IsInf(c.Upper, 1):
		return "not to be told from this log"
	case !c.Resolved():
		return fmt.Sprintf("not seen, below %.2g %s", c.Upper, unit)
	}
	return fmt.Sprintf("%.3g %s  (95 %%: %.3g to %.3g)", c.Value, unit, c.Lower, c.Upper)
}

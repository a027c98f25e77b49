package query

import (
	"fmt"
	"io"
	"math"
	"strings"
	"text/tabwriter"

	"github.com/ampledger/ampledger/cmd/internal/show"
	"github.com/ampledger/ampledger/daemon/score"
)

func scoreRows(to io.Writer) *tabwriter.Writer {
	return tabwriter.NewWriter(to, 0, 0, 2, ' ', tabwriter.AlignRight)
}

// writeRun writes a single run for people.
func writeRun(to io.Writer, r *score.Run) error {
	fmt.Fprintf(to, "Score of %s against %s\n", r.Conductor, r.Truth)
	fmt.Fprintf(to, "  %s, %d readings; %+.4f Ah really flowed out of the pack\n", seconds(r.Seconds), r.ReadingCount, r.TrueCoulombs/coulombsPerAmpereHour)
	if r.MissingCount > 0 {
		fmt.Fprintf(to, "warning: %d reading(s) of the truth could not be used; what flowed then is bridged by a straight line\n", r.MissingCount)
	}
	fmt.Fprintln(to)
	rows := scoreRows(to)
	fmt.Fprintln(rows, "channel\toffset by\terror, Ah\tu, Ah\terror/u\tworst, Ah\tat\tworst/u\trms, A\toffset rms, A\tcovered\tNEES\t")
	for i := range r.Scores {
		s := &r.Scores[i]
		fmt.Fprintf(rows, "%s\t%s\t%s\t%s\t%s\t%s\t%s\t%s\t%.3g\t%s\t%s\t%s\t\n", s.Channel, s.Estimator, ampereHours(s.ErrorCoulombs), stated(s.UncertaintyCoulombs),
			share(s.Ratio()), ampereHours(s.WorstCoulombs), seconds(s.WorstAtSeconds), share(s.WorstRatio), s.RMSAmperes,
			known(s.RMSOffsetAmperes, s.OffsetKnown), ofCount(s.CoveredCount, s.CheckpointCount), figure(s.MeanSquareRatio))
	}
	if err := rows.Flush(); err != nil {
		return err
	}
	for _, n := range r.Notes {
		fmt.Fprintf(to, "note: %s, %s%s, %d times; first: %s\n", n.Estimator, strings.TrimPrefix(n.Channel+": ", ": "), n.Subject, n.Count, n.First)
	}
	lower, upper := score.MeanSquareBand(1)
	_, err := fmt.Fprintf(to, `
error: balance less truth at the end; u: the standard uncertainty stated there. Worst: of all checkpoints, one at each end of a summary.
rms: of reading less true current. Offset rms: of offset subtracted less true offset. Covered: checkpoints whose 95 %% interval holds the
truth. NEES: mean of (error/u)² over the checkpoints, which all hang together: one run is one draw, and its 95 %% band that of χ² with
one degree of freedom, %.2g to %.3g. Whether an uncertainty is right, --seeds tells.
`, lower, upper)
	return err
}

// writeStudy writes many seeds for people.
func writeStudy(to io.Writer, s *score.Study) error {
	fmt.Fprintf(to, "Score of %s against %s\n", s.Conductor, s.Truth)
	fmt.Fprintf(to, "  %d seed(s), %d to %d, %s each\n\n", s.Seeds, s.FirstSeed, s.FirstSeed+uint64(s.Seeds)-1, seconds(s.Seconds))
	rows := scoreRows(to)
	fmt.Fprintln(rows, "channel\toffset by\tcovered\t95 % from\tto\trms error, Ah\tu, Ah\tmean, Ah\tworst, Ah\tseed\tNEES\trms, A\toffset rms, A\t")
	for i := range s.Rows {
		r := &s.Rows[i]
		fmt.Fprintf(rows, "%s\t%s\t%s\t%.1f %%\t%.1f %%\t%s\t%s\t%s\t%s\t%d\t%s\t%.3g\t%s\t\n", r.Channel, r.Estimator, ofCount(r.CoveredCount, s.Seeds),
			100*r.CoverLower, 100*r.CoverUpper, stated(r.RMSCoulombs), stated(r.RMSUncertaintyCoulombs), ampereHours(r.MeanCoulombs),
			ampereHours(r.WorstCoulombs), r.WorstSeed, figure(r.MeanSquareRatio), r.RMSAmperes, known(r.RMSOffsetAmperes, r.OffsetKnown))
	}
	if err := rows.Flush(); err != nil {
		return err
	}
	lower, upper := score.MeanSquareBand(s.Seeds)
	_, err := fmt.Fprintf(to, `
covered: runs whose 95 %% interval of the charge at the end holds the truth, with the 95 %% limits of that probability (Clopper–Pearson).
Error: balance less truth at the end; u: rms of the standard uncertainties stated there. NEES: mean of (error/u)²; if u is right, it lies
within %.3f to %.3f in 95 %% of all studies of so many seeds (χ²). Above, u is too small; below, too large.
`, lower, upper)
	return err
}

func seconds(s float64) string { return show.Duration(int64(math.Round(s * 1e9))) }

func ampereHours(coulombs float64) string {
	return fmt.Sprintf("%+.5f", coulombs/coulombsPerAmpereHour)
}

func stated(coulombs float64) string { return fmt.Sprintf("%.5f", coulombs/coulombsPerAmpereHour) }

// share writes how many times something is; ∞ where there should be none at all.
func share(v float64) string {
	if math.IsInf(v, 0) {
		return "∞"
	}
	return fmt.Sprintf("%+.2f", v)
}

func figure(v float64) string {
	if math.IsInf(v, 0) {
		return "∞"
	}
	return fmt.Sprintf("%.3g", v)
}

func known(amperes float64, is bool) string {
	if !is {
		return "–"
	}
	return fmt.Sprintf("%.3g", amperes)
}

func ofCount(k, n int) string {
	if n == 0 {
		return "–"
	}
	return fmt.Sprintf("%.1f %%", 100*float64(k)/float64(n))
}

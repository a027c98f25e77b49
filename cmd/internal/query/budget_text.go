package query

import (
	"fmt"
	"io"
	"strings"
	"text/tabwriter"
	"time"

	"github.com/ampledger/ampledger/daemon/design"
)

// budgetText writes a study for people.
type budgetText struct{ *design.Study }

func (t budgetText) write(to io.Writer) error {
	for _, ch := range t.Channels {
		fmt.Fprintf(to, "channel %s of %s (%s)\n", ch.Channel, ch.Conductor, ch.Kind)
		for _, f := range facts(ch) {
			fmt.Fprintf(to, "  %-13s %s\n", f.name, f.text)
		}
		for _, each := range ch.Cases {
			if err := t.writeCase(to, each); err != nil {
				return err
			}
		}
		fmt.Fprintln(to)
	}
	fmt.Fprintf(to, "%s\n", t.assumptions())
	for _, c := range t.Comparisons {
		fmt.Fprintf(to, "\n%s\n", strings.Join(c.Channels, " against "))
		for _, text := range c.Conclusions {
			fmt.Fprintf(to, "  - %s\n", text)
		}
	}
	return nil
}

// assumptions says what the figures go by.
func (t budgetText) assumptions() string {
	q := t.Question
	return fmt.Sprintf("Half widths of %.4g %% intervals. *: what the daemon states of a reading before any estimate. Gains were made sure %.3g year(s) ago. "+
		"Charges are counted at the constant current, "+
		"just before the next rest and mark: rests of %s every %s, marks of %s of the capacity every %s.",
		100*q.Probability, q.Years, span(q.RestSeconds), span(q.RestEverySeconds), percent(q.MarkRatio), span(q.MarkEverySeconds))
}

// span writes a time as people say it.
func span(seconds float64) string {
	switch day := float64(secondsPerDay); {
	case seconds == day:
		return "day"
	case seconds > day && seconds/day == float64(int(seconds/day)):
		return fmt.Sprintf("%.0f days", seconds/day)
	case seconds >= 60:
		text := time.Duration(seconds * 1e9).String()
		for _, nothing := range [][2]string{{"m0s", "m"}, {"h0m", "h"}} {
			if strings.HasSuffix(text, nothing[0]) {
				text = strings.TrimSuffix(text, nothing[0]) + nothing[1]
			}
		}
		return text
	}
	return fmt.Sprintf("%.4g s", seconds)
}

// counted is span for a time that stands alone.
func counted(seconds float64) string {
	if seconds == secondsPerDay {
		return "1 day"
	}
	return span(seconds)
}

func (t budgetText) writeCase(to io.Writer, c design.Case) error {
	fmt.Fprintf(to, "\n  at %.4g A and %.4g °C\n", c.Amperes, c.Celsius)
	if c.OutOfRange {
		fmt.Fprintln(to, "    The channel does not read such a current: it saturates before.")
		return nil
	}
	if len(c.Lines) == 0 {
		fmt.Fprintln(to, "    Nothing is stated of what makes a reading uncertain: there is no budget.")
		return nil
	}
	rows := tabwriter.NewWriter(to, 0, 0, 2, ' ', 0)
	fmt.Fprintln(rows, "    source\tvalue\tdistribution\tdivisor\tsensitivity, A per unit\tcontribution, A\tfreedom\tshare")
	for _, l := range c.Lines {
		fmt.Fprintf(rows, "  %s %s\t%.4g %s\t%s\t%.4g\t%.4g\t%.3g\t%s\t%.1f %%\n", star(l.Stated), l.Source, l.Value, plainUnit(l.Unit), l.Distribution,
			l.Divisor, l.Sensitivity, l.ContributionAmperes, freedom(l.DegreesOfFreedom), 100*l.ShareRatio)
	}
	if err := rows.Flush(); err != nil {
		return err
	}
	fmt.Fprintf(to, "    combined %.4g A (of the lines with *: %.4g A), %s degrees of freedom, k = %.3f, expanded ±%.4g A\n", c.CombinedAmperes, c.StatedAmperes,
		freedom(c.EffectiveDegreesOfFreedom), c.CoverageFactor, c.ExpandedAmperes)
	return writeCharges(to, c.Charge)
}

func writeCharges(to io.Writer, charges []design.Charge) error {
	rows := tabwriter.NewWriter(to, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(rows, "    charge after\tnet, Ah\talone ±Ah\twith rests\twith marks\twith both\t")
	for _, q := range charges {
		fmt.Fprintf(rows, "    %s\t%.6g\t%.3g\t%.3g\t%s\t%s\t\n", counted(q.Seconds), q.NetAmpereHours, q.AloneAmpereHours, q.RestsAmpereHours,
			optionalFigure(q.MarksAmpereHours), optionalFigure(q.TogetherAmpereHours))
	}
	return rows.Flush()
}

func star(stated bool) string {
	if stated {
		return "*"
	}
	return " "
}

// plainUnit leaves the unit of a ratio away.
func plainUnit(unit string) string {
	if unit == "1" {
		return ""
	}
	return unit
}

func freedom(degrees *float64) string {
	if degrees == nil {
		return "∞"
	}
	return fmt.Sprintf("%.1f", *degrees)
}

func optionalFigure(v *float64) string {
	if v == nil {
		return "-"
	}
	return fmt.Sprintf("%.3g", *v)
}

package query

import (
	"fmt"
	"io"
	"strings"
)

// write writes what a calibration found.
func (f *fitted) write(to io.Writer) error {
	k := f.record.GetCalibration()
	var b strings.Builder
	fmt.Fprintf(&b, "Calibration of %s/%s, record %d\n", f.record.GetConductor(), f.record.GetChannel(), f.record.GetRecordSequence())
	fmt.Fprintf(&b, "  %14s %14s %14s %14s\n", "reference, A", "± A", "indicated, A", "off the curve")
	for i, p := range f.points {
		mark := sweepSays(p.GetSweep())
		if k.GetResiduals()[i].GetOutlier() {
			mark += "  farther off than chance explains"
		}
		line := fmt.Sprintf("  %14.6g %14.2g %14.6g %+14.3g  %s", p.GetReferenceAmperes(), p.GetReferenceUncertaintyAmperes(), p.GetIndicatedAmperes(),
			k.GetResiduals()[i].GetResidualAmperes(), mark)
		b.WriteString(strings.TrimRight(line, " ") + "\n")
	}
	for _, fact := range f.facts() {
		fmt.Fprintf(&b, "  %-24s %s\n", fact.name, fact.text)
	}
	for _, p := range k.GetPredicted() {
		fmt.Fprintf(&b, "  %-24s %.2g A\n", fmt.Sprintf("u at %.4g A", p.GetCurrentAmperes()), p.GetStandardUncertaintyAmperes())
	}
	for _, d := range k.GetDiagnoses() {
		fmt.Fprintf(&b, "  ! %s: %s\n", d.GetSubject(), d.GetText())
	}
	_, err := io.WriteString(to, b.String())
	return err
}

// fitFact is a figure of a calibration in words.
type fitFact struct{ name, text string }

// facts are the figures of a calibration, in the order a person asks for them.
func (f *fitted) facts() []fitFact {
	k := f.record.GetCalibration()
	facts := []fitFact{
		{"offset", fmt.Sprintf("%+.5g A ± %.2g A", k.GetOffsetAmperes(), k.GetOffsetUncertaintyAmperes())},
		{"gain", fmt.Sprintf("%.7g ± %.2g, correlation with the offset %+.2f", k.GetGainRatio(), k.GetGainUncertaintyRatio(), k.GetCorrelationRatio())},
	}
	add := func(name, format string, values ...any) {
		facts = append(facts, fitFact{name, fmt.Sprintf(format, values...)})
	}
	if c := k.GetCoefficientValues(); len(c) > 2 {
		add("curve", "indication = %s, I in amperes", polynomialText(c))
	}
	if k.BirgeRatio != nil {
		add("scatter", "%.3g times what the points' uncertainties say; by chance with a probability of %.2g", k.GetBirgeRatio(), k.GetConsistencyRatio())
	}
	if k.GetEnlargedRatio() > 1 {
		add("uncertainties", "multiplied by %.3g, since the points scatter more than theirs allow", k.GetEnlargedRatio())
	}
	if l := k.GetLackOfFit(); l != nil {
		add("lack of fit", "F(%d, %d) = %.3g, by chance with a probability of %.2g", l.GetCurveFreedomCount(), l.GetRepeatFreedomCount(), l.GetFRatio(), l.GetProbabilityRatio())
	}
	if h := k.GetSweepDifference(); h != nil {
		add("down less up", "%+.3g A ± %.2g A at %d currents, by chance with a probability of %.2g", h.GetMeanAmperes(), h.GetMeanUncertaintyAmperes(), h.GetPlaceCount(),
			h.GetProbabilityRatio())
	}
	if s := k.GetShift(); s != nil {
		add("against record "+fmt.Sprint(s.GetPreviousSequence()), "offset moved by %+.3g A (%.1f times both uncertainties), gain by %+.3g (%.1f times)", s.GetOffsetAmperes(),
			s.GetOffsetDeviationRatio(), s.GetGainRatio(), s.GetGainDeviationRatio())
	}
	return facts
}

// polynomialText writes a polynomial of I.
func polynomialText(coefficients []float64) string {
	var terms []string
	for i, c := range coefficients {
		terms = append(terms, fmt.Sprintf("%.6g%s", c, []string{"", "·I", "·I²", "·I³"}[i]))
	}
	return strings.ReplaceAll(strings.Join(terms, " + "), "+ -", "- ")
}

package query

import (
	"fmt"
	"io"
	"math"
	"strconv"

	"github.com/ampledger/ampledger/daemon/metrology/stability"
)

// setting is a key of the configuration that follows from a log.
type setting struct {
	key   string
	value float64
	why   string
}

// channelSettings are keys of the channel.
func (s *zeroStudy) channelSettings() []setting {
	noise, why := s.model.WhiteDensity.Value/math.Sqrt(s.grid.IntervalSeconds), fmt.Sprintf("of one reading, for readings %.6g s apart", s.grid.IntervalSeconds)
	if !s.model.WhiteDensity.Resolved() {
		noise, why = s.points[0].DeviationAmperes, "of one reading; the log shows no white noise, this is its deviation"
	}
	return []setting{
		{"noise_amperes", noise, why},
		{"zero_uncertainty_amperes", math.Hypot(s.offset.TimeMeanAmperes, s.zero), fmt.Sprintf("covers the zero found here, %+.3g A, until a rest has shown it", s.offset.TimeMeanAmperes)},
	}
}

// walk is the density of the random walk, or what it may be at most.
func (s *zeroStudy) walk() (amperesPerRootHour float64, why string) {
	if !s.model.WalkDensity.Resolved() && !math.IsInf(s.model.WalkDensity.Upper, 1) {
		return s.model.WalkDensity.Upper * 60, "upper limit: the log shows no walk, it does not show that there is none"
	}
	return s.model.WalkDensity.Value * 60, "random-walk density"
}

// fixedzeroSettings are keys of the estimator fixedzero.
func (s *zeroStudy) fixedzeroSettings() []setting {
	walk, why := s.walk()
	return []setting{{"walk_amperes_per_root_hour", walk, why}}
}

// biasfilterSettings are keys of the channel under the estimator biasfilter. What the log does not show is left to the filter's default, but
// for the walk, which is never known not to be there.
func (s *zeroStudy) biasfilterSettings() []setting {
	walk, why := s.walk()
	all := []setting{{"zero_walk_amperes_per_root_hour", walk, why}, s.channelSettings()[0]}
	switch flicker, rounding := flickerFloor*s.model.FlickerFloor.Value, s.resolution.RoundingAmperes(); {
	case rounding > flicker:
		all = append(all, setting{"floor_amperes", rounding, "rounding, which no averaging takes away"})
	case flicker > 0:
		all = append(all, setting{"floor_amperes", flicker, "an average never comes below it"})
	}
	if t := s.temperature; t != nil {
		drift := math.Hypot(t.SlopeAmperesPerKelvin, t.StandardUncertainty)
		all = append(all, setting{"zero_drift_amperes_per_kelvin", drift, fmt.Sprintf("covers the slope found here, %+.2g A/K", t.SlopeAmperesPerKelvin)})
	}
	return all
}

// flickerFloor is the least deviation of an average as a share of the flicker floor B: √(2·ln 2/π) (IEEE Std 952 Annex C).
const flickerFloor = 0.664

// writeSettings writes them as the configuration takes them.
func (s *zeroStudy) writeSettings(to io.Writer) error {
	fmt.Fprintln(to, "Settings of the channel that follow:")
	if err := writeKeys(to, "  ", s.channelSettings()); err != nil {
		return err
	}
	fmt.Fprintln(to, "and of its conductor:")
	fmt.Fprintln(to, "  estimator:\n    plugin: fixedzero\n    with:")
	if err := writeKeys(to, "      ", s.fixedzeroSettings()); err != nil {
		return err
	}
	fmt.Fprintln(to, "or, to have the charge corrected by each rest (put the channel's name for CHANNEL):")
	fmt.Fprintln(to, "  estimator:\n    plugin: biasfilter\n    with:\n      channels:\n        CHANNEL:")
	return writeKeys(to, "          ", s.biasfilterSettings())
}

func writeKeys(to io.Writer, indent string, settings []setting) (err error) {
	for _, each := range settings {
		_, err = fmt.Fprintf(to, "%s%s: %s  # %s\n", indent, each.key, strconv.FormatFloat(each.value, 'g', 3, 64), each.why)
	}
	return err
}

// limited gives a limit, or nothing if there is none.
func limited(v float64) *float64 {
	if math.IsInf(v, 0) || math.IsNaN(v) {
		return nil
	}
	return &v
}

// coefficientJSON is a coefficient for programs.
type coefficientJSON struct {
	Value               float64  `json:"value"`
	StandardUncertainty *float64 `json:"standard_uncertainty"`
	Lower               float64  `json:"lower_limit"`
	Upper               *float64 `json:"upper_limit"`
	Resolved            bool     `json:"resolved"`
}

func newCoefficientJSON(c stability.Coefficient) coefficientJSON {
	return coefficientJSON{c.Value, limited(c.StandardUncertainty), c.Lower, limited(c.Upper), c.Resolved()}
}

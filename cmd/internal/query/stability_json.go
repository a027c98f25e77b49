package query

import (
	"encoding/json"
	"io"
)

// stabilityJSON is the study for programs. The unit is in each name; a limit that is null is not known. Intervals cover 95 %.
type stabilityJSON struct {
	File         string                     `json:"file"`
	Column       string                     `json:"column"`
	Log          logJSON                    `json:"log"`
	Offset       offsetJSON                 `json:"offset"`
	Resolution   resolutionJSON             `json:"resolution"`
	Deviations   []deviationJSON            `json:"overlapping_allan_deviations"`
	Coefficients map[string]coefficientJSON `json:"coefficients"`
	Temperature  *temperatureJSON           `json:"temperature"`
	Settings     settingsJSON               `json:"settings"`
	Warnings     []string                   `json:"warnings"`
}

type logJSON struct {
	ReadingCount        int     `json:"reading_count"`
	MissingCount        int     `json:"missing_count"`
	LeftOutCount        int     `json:"left_out_count"`
	IntervalSeconds     float64 `json:"interval_seconds"`
	Averaged            bool    `json:"averaged"`
	LargestJitterRatio  float64 `json:"largest_jitter_ratio"`
	BridgedCount        int     `json:"bridged_count"`
	SegmentCount        int     `json:"segment_count"`
	CoveredSeconds      float64 `json:"covered_seconds"`
	GapCount            int     `json:"gap_count"`
	GapDurationsSeconds float64 `json:"gap_seconds"`
}

type offsetJSON struct {
	MeanAmperes                float64 `json:"mean_amperes"`
	TimeMeanAmperes            float64 `json:"time_mean_amperes"`
	StandardUncertaintyAmperes float64 `json:"standard_uncertainty_amperes"`
	ChargeCoulombs             float64 `json:"charge_coulombs"`
	ChargePerDayCoulombs       float64 `json:"charge_per_day_coulombs"`
}

type resolutionJSON struct {
	StepAmperes    float64 `json:"step_amperes"`
	ScatterAmperes float64 `json:"scatter_amperes"`
	Coarse         bool    `json:"coarser_than_noise"`
}

type deviationJSON struct {
	TauSeconds               float64 `json:"tau_seconds"`
	DeviationAmperes         float64 `json:"deviation_amperes"`
	LowerAmperes             float64 `json:"lower_limit_amperes"`
	UpperAmperes             float64 `json:"upper_limit_amperes"`
	EquivalentFreedomsCount  float64 `json:"equivalent_degrees_of_freedom"`
	Noise                    string  `json:"noise"`
	FittedDeviationInAmperes float64 `json:"fitted_deviation_amperes"`
}

type temperatureJSON struct {
	SlopeAmperesPerKelvin               float64 `json:"slope_amperes_per_kelvin"`
	StandardUncertaintyAmperesPerKelvin float64 `json:"standard_uncertainty_amperes_per_kelvin"`
	LowestCelsius                       float64 `json:"lowest_celsius"`
	HighestCelsius                      float64 `json:"highest_celsius"`
}

type settingsJSON struct {
	Channel    map[string]float64 `json:"channel"`
	Fixedzero  map[string]float64 `json:"fixedzero"`
	Biasfilter map[string]float64 `json:"biasfilter"` // of the channel
}

// writeJSON writes the study for programs.
func (s *zeroStudy) writeJSON(to io.Writer) error {
	encoder := json.NewEncoder(to)
	encoder.SetIndent("", "  ")
	return encoder.Encode(s.json())
}

func (s *zeroStudy) json() stabilityJSON {
	g, o := s.grid, s.offset
	out := stabilityJSON{
		File: s.log.name, Column: s.log.column,
		Log: logJSON{g.Readings, s.log.missing, g.LeftOut, g.IntervalSeconds, g.Averaged, g.LargestJitter, g.Bridged, len(g.Segments), g.CoveredSeconds,
			g.Gaps, g.GapSeconds},
		Offset:       offsetJSON{o.MeanAmperes, o.TimeMeanAmperes, s.zero, o.ChargeCoulombs, o.TimeMeanAmperes * secondsPerDay},
		Resolution:   resolutionJSON{s.resolution.StepAmperes, s.resolution.ScatterAmperes, s.resolution.Coarse},
		Coefficients: map[string]coefficientJSON{},
		Settings:     settingsJSON{byKey(s.channelSettings()), byKey(s.fixedzeroSettings()), byKey(s.biasfilterSettings())},
		Warnings:     append([]string{}, s.warnings()...),
	}
	for _, p := range s.points {
		out.Deviations = append(out.Deviations, deviationJSON{p.TauSeconds, p.DeviationAmperes, p.LowerAmperes, p.UpperAmperes, p.EDF, p.Noise.String(),
			s.model.DeviationAmperes(p.TauSeconds)})
	}
	for _, each := range s.coefficients() {
		out.Coefficients[each.key] = newCoefficientJSON(each.of)
	}
	if t := s.temperature; t != nil {
		out.Temperature = &temperatureJSON{t.SlopeAmperesPerKelvin, t.StandardUncertainty, t.LowestCelsius, t.HighestCelsius}
	}
	return out
}

func byKey(settings []setting) map[string]float64 {
	values := map[string]float64{}
	for _, each := range settings {
		values[each.key] = each.value
	}
	return values
}

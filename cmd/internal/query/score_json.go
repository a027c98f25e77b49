package query

import (
	"encoding/json"
	"io"

	"github.com/ampledger/ampledger/daemon/score"
)

// runJSON is a single run for programs. The unit is in each name; errors are balance less truth, positive out of the pack. A ratio that is
// null is infinite: no uncertainty was stated.
type runJSON struct {
	Conductor       string      `json:"conductor"`
	Truth           string      `json:"truth"`
	ReadingCount    uint64      `json:"reading_count"`
	MissingCount    uint64      `json:"missing_count"`
	DurationSeconds float64     `json:"duration_seconds"`
	TrueCoulombs    float64     `json:"true_coulombs"`
	Scores          []scoreJSON `json:"scores"`
	Notes           []noteJSON  `json:"notes,omitempty"`
}

type noteJSON struct {
	Estimator string `json:"estimator"`
	Channel   string `json:"channel,omitempty"`
	Subject   string `json:"subject"`
	Count     int    `json:"count"`
	First     string `json:"first"`
}

type scoreJSON struct {
	Channel                     string   `json:"channel"`
	Estimator                   string   `json:"estimator"`
	ErrorCoulombs               float64  `json:"error_coulombs"`
	StandardUncertaintyCoulombs float64  `json:"standard_uncertainty_coulombs"`
	Interval95Coulombs          float64  `json:"interval95_coulombs"`
	ErrorRatio                  *float64 `json:"error_ratio"`
	Covered                     bool     `json:"covered"`
	WorstErrorCoulombs          float64  `json:"worst_error_coulombs"`
	WorstAtSeconds              float64  `json:"worst_at_seconds"`
	WorstErrorRatio             *float64 `json:"worst_error_ratio"`
	CheckpointCount             int      `json:"checkpoint_count"`
	CoveredCount                int      `json:"covered_count"`
	MeanSquareRatio             *float64 `json:"mean_square_ratio"`
	RMSErrorAmperes             float64  `json:"rms_error_amperes"`
	RMSOffsetErrorAmperes       *float64 `json:"rms_offset_error_amperes"`
}

func newRunJSON(r *score.Run) runJSON {
	out := runJSON{
		Conductor: r.Conductor, Truth: r.Truth, ReadingCount: r.ReadingCount, MissingCount: r.MissingCount, DurationSeconds: r.Seconds, TrueCoulombs: r.TrueCoulombs,
	}
	for i := range r.Scores {
		s := &r.Scores[i]
		out.Scores = append(out.Scores, scoreJSON{
			s.Channel, s.Estimator, s.ErrorCoulombs, s.UncertaintyCoulombs, s.HalfWidthCoulombs, limited(s.Ratio()), s.Covered(),
			s.WorstCoulombs, s.WorstAtSeconds, limited(s.WorstRatio), s.CheckpointCount, s.CoveredCount, limited(s.MeanSquareRatio), s.RMSAmperes,
			ifKnown(s.RMSOffsetAmperes, s.OffsetKnown),
		})
	}
	for _, n := range r.Notes {
		out.Notes = append(out.Notes, noteJSON(n))
	}
	return out
}

// studyJSON is many seeds for programs, as runJSON is one.
type studyJSON struct {
	Conductor            string         `json:"conductor"`
	Truth                string         `json:"truth"`
	SeedCount            int            `json:"seed_count"`
	FirstSeed            uint64         `json:"first_seed"`
	DurationSeconds      float64        `json:"duration_seconds"`
	MeanSquareLowerRatio float64        `json:"mean_square_lower_limit_ratio"`
	MeanSquareUpperRatio float64        `json:"mean_square_upper_limit_ratio"`
	Rows                 []studyRowJSON `json:"rows"`
}

type studyRowJSON struct {
	Channel                        string   `json:"channel"`
	Estimator                      string   `json:"estimator"`
	CoveredCount                   int      `json:"covered_count"`
	CoverageLowerRatio             float64  `json:"coverage_lower_limit_ratio"`
	CoverageUpperRatio             float64  `json:"coverage_upper_limit_ratio"`
	MeanErrorCoulombs              float64  `json:"mean_error_coulombs"`
	RMSErrorCoulombs               float64  `json:"rms_error_coulombs"`
	RMSStandardUncertaintyCoulombs float64  `json:"rms_standard_uncertainty_coulombs"`
	WorstErrorCoulombs             float64  `json:"worst_error_coulombs"`
	WorstSeed                      uint64   `json:"worst_seed"`
	MeanSquareRatio                *float64 `json:"mean_square_ratio"`
	RMSErrorAmperes                float64  `json:"rms_error_amperes"`
	RMSOffsetErrorAmperes          *float64 `json:"rms_offset_error_amperes"`
}

func newStudyJSON(s *score.Study) studyJSON {
	out := studyJSON{Conductor: s.Conductor, Truth: s.Truth, SeedCount: s.Seeds, FirstSeed: s.FirstSeed, DurationSeconds: s.Seconds}
	out.MeanSquareLowerRatio, out.MeanSquareUpperRatio = score.MeanSquareBand(s.Seeds)
	for i := range s.Rows {
		r := &s.Rows[i]
		out.Rows = append(out.Rows, studyRowJSON{
			r.Channel, r.Estimator, r.CoveredCount, r.CoverLower, r.CoverUpper, r.MeanCoulombs, r.RMSCoulombs, r.RMSUncertaintyCoulombs,
			r.WorstCoulombs, r.WorstSeed, limited(r.MeanSquareRatio), r.RMSAmperes, ifKnown(r.RMSOffsetAmperes, r.OffsetKnown),
		})
	}
	return out
}

func ifKnown(v float64, known bool) *float64 {
	if !known {
		return nil
	}
	return &v
}

func writeScoreJSON(to io.Writer, of any) error {
	encoder := json.NewEncoder(to)
	encoder.SetIndent("", "  ")
	return encoder.Encode(of)
}

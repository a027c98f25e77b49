package coulombsoc

import (
	"math"

	"github.com/ampledger/ampledger/plugins/plugin"
)

// odometer is what the ledger counted up to a moment. Only differences of two moments mean anything.
type odometer struct {
	Out         float64 `json:"out_coulombs"`
	In          float64 `json:"in_coulombs"`
	Adjustment  float64 `json:"adjustment_coulombs"`
	Uncertainty float64 `json:"net_uncertainty_coulombs"` // of net, as it is known at this moment

	// Over all runs of the daemon, since the first charge seen.
	Zero      float64 `json:"zero_coulombs"`
	GainedOut float64 `json:"gained_out_coulombs"` // integral of the gain's uncertainty over the charge that flowed out
	GainedIn  float64 `json:"gained_in_coulombs"`
	Noise     float64 `json:"noise_square_coulombs"`
	Gap       float64 `json:"gap_bound_coulombs"`
	Seconds   float64 `json:"seconds"`
}

// seen is the newest charge as it came, to know the next from.
type seen struct {
	Begun  bool    `json:"begun"` // there was one
	Apart  bool    `json:"apart"` // the next is of another run of the daemon
	Zero   float64 `json:"zero_coulombs"`
	Gain   float64 `json:"gain_ratio"`
	Noise  float64 `json:"noise_square_coulombs"`
	Gap    float64 `json:"gap_bound_coulombs"`
	Timed  bool    `json:"timed"` // the next summary is on the same time base
	Moment int64   `json:"moment_nanos"`
}

// most is beyond what any battery stores, in coulombs, and far from where squares are too large for a float64.
const most = 1e15

// usable tells whether a charge can be meant.
func usable(c *plugin.Charge) bool {
	for _, v := range []float64{
		c.GetOutCoulombs(), c.GetInCoulombs(), c.GetNetUncertaintyCoulombs(), c.GetZeroCoulombs(), c.GetGainRatio(), c.GetNoiseSquareCoulombs(),
		c.GetGapBoundCoulombs(),
	} {
		if !(v >= 0 && v <= most) {
			return false
		}
	}
	return math.Abs(c.GetAdjustmentCoulombs()) <= most && c.GetGainRatio() <= 1
}

// count takes the charge of a summary. It tells whether it is of the same ledger as before: one cannot hold less than it did, but for what the
// end of a run kept from being posted, and that is no more than the next run bounds as a gap.
func (o *odometer) count(c *plugin.Charge, s *seen) (same bool) {
	another := s.Begun && (s.Apart || c.GetZeroCoulombs() < s.Zero || c.GetGainRatio() < s.Gain || c.GetNoiseSquareCoulombs() < s.Noise ||
		c.GetGapBoundCoulombs() < s.Gap)
	unseen, lost := 0.0, 0.0
	if another {
		// What the run before still counted after its newest summary shows only in what is said of the whole.
		unseen = max(0, c.GetNetUncertaintyCoulombs()-c.GetZeroCoulombs()-o.Uncertainty)
		lost = c.GetGapBoundCoulombs()
		s.Zero, s.Noise, s.Gap = 0, 0, 0
	}
	same = !s.Begun || o.Out-c.GetOutCoulombs() <= lost && o.In-c.GetInCoulombs() <= lost
	if s.Begun && same {
		ratio := max(c.GetGainRatio(), s.Gain)
		o.GainedOut += ratio * (c.GetOutCoulombs() - o.Out)
		o.GainedIn += ratio * (c.GetInCoulombs() - o.In)
		o.Zero += c.GetZeroCoulombs() - s.Zero + unseen
		o.Noise += c.GetNoiseSquareCoulombs() - s.Noise
		o.Gap += c.GetGapBoundCoulombs() - s.Gap
	}
	o.Out, o.In, o.Adjustment, o.Uncertainty = c.GetOutCoulombs(), c.GetInCoulombs(), c.GetAdjustmentCoulombs(), c.GetNetUncertaintyCoulombs()
	s.Begun, s.Apart = true, false
	s.Zero, s.Gain, s.Noise, s.Gap = c.GetZeroCoulombs(), c.GetGainRatio(), c.GetNoiseSquareCoulombs(), c.GetGapBoundCoulombs()
	return same
}

// pass lets the time of a summary pass. Where it ran backwards a new time base began, and only the summary itself counts.
func (o *odometer) pass(summary *plugin.Summary, s *seen) {
	first, last := summary.GetFirstMonotonicNanos(), summary.GetLastMonotonicNanos()
	from := float64(first)
	if s.Timed && first >= s.Moment {
		from = float64(s.Moment)
	}
	o.Seconds += max(0, float64(last)-from) * 1e-9
	s.Timed, s.Moment = true, last
}

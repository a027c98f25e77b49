package recording

import (
	"github.com/ampledger/ampledger/daemon/scan"
	"github.com/ampledger/ampledger/plugins/driver/replay/recorded"
	"github.com/ampledger/ampledger/plugins/plugin"
)

// The columns of a channel's readings, in their order: the reading, what was subtracted for it, the two parts of its standard
// uncertainty that are given in amperes, the relative one of its gain, and which of the conductor's estimators was in force.
var readingColumns = [...]struct{ name, unit string }{
	{"amperes", "A"}, {"offset_amperes", "A"}, {"noise_standard_uncertainty_amperes", "A"}, {"zero_standard_uncertainty_amperes", "A"},
	{"gain_standard_uncertainty_ratio", "1"}, {"estimator_generation", "1"},
}

// Readings records what was made of one channel, for people to look at beside the raw recording of its device: the same sequences and times, in
// files of the same form, with the quality of each reading as its scan's flags. Take is called as Track.Frame is.
type Readings struct {
	track  *Track
	frame  scan.Frame
	values [len(readingColumns)]float64 // those that hold for a whole batch
}

// Readings gives what records a channel's readings. averaging tells that a reading is the mean over the interval before it.
func (r *Recorder) Readings(conductor, channel string, rateHertz float64, averaging bool) (*Readings, error) {
	h := &recorded.Head{Device: conductor + "/" + channel, Description: &plugin.Description{NominalRateHertz: rateHertz}}
	for i, c := range readingColumns {
		h.Description.Inputs = append(h.Description.Inputs, &plugin.Input{Name: c.name, Unit: c.unit, Averaging: averaging && i == 0})
	}
	track, err := r.Track(h)
	if err != nil {
		return nil, err
	}
	to := &Readings{track: track}
	to.frame.Columns = make([]scan.Column, len(readingColumns))
	for i := range to.values {
		to.frame.Columns[i].Values = to.values[i : i+1]
	}
	return to, nil
}

// Take takes the readings of one span; they are the caller's again when it returns.
func (to *Readings) Take(r *scan.Readings) {
	to.frame.Clock, to.frame.Count, to.frame.Flags = r.Clock, r.Len(), r.Quality
	to.values = [...]float64{0, r.Offset, r.NoiseAmperes, r.ZeroAmperes, r.GainRatio, float64(r.Generation)}
	to.frame.Columns[0].Values = r.Amperes
	to.track.Frame(&to.frame)
	to.frame.Columns[0].Values, to.frame.Clock.Offsets, to.frame.Flags = nil, nil, nil
}

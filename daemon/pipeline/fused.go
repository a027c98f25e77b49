package pipeline

import (
	"math"

	"github.com/ampledger/ampledger/daemon/charge"
	"github.com/ampledger/ampledger/daemon/fusion"
	"github.com/ampledger/ampledger/daemon/guard"
	"github.com/ampledger/ampledger/daemon/scan"
	"github.com/ampledger/ampledger/plugins/plugin"
)

// Fused is the name and the kind of the channel that combines all others of a conductor.
const Fused = "fused"

// fused makes one channel of all channels of a side.
type fused struct {
	lane     *Lane
	of       []*Lane
	stage    *fusion.Stage
	readings []*scan.Readings // of the channels
	parts    []fusion.Part
	shares   []fusion.Share
	raw      float64 // coulombs of all shares since the pipeline began, before any estimated offset, in the sign of the readings
}

func newFused(lane *Lane, of []*Lane, settings DeviceSettings) (f *fused, err error) {
	f = &fused{lane: lane, of: of, stage: fusion.New(len(of), settings.GapNanos), parts: make([]fusion.Part, len(of))}
	for i, each := range of {
		f.readings = append(f.readings, &each.readings)
		f.parts[i].MeanAmperes = math.NaN()
		f.parts[i].Readings = int(min(settings.SummaryScans, math.MaxInt32))
	}
	config := charge.Config{GapNanos: settings.GapNanos, ChargeIsPositive: lane.ChargeIsPositive, After: lane.ledger.After}
	for _, each := range of {
		silent, saturated := each.gapBounds(each.sensor)
		config.BoundAmperes, config.SaturatedBoundAmperes = max(config.BoundAmperes, silent), max(config.SaturatedBoundAmperes, saturated)
	}
	if lane.account, err = charge.New(config); err == nil {
		lane.guard, err = guard.New(lane.Guard)
	}
	return f, err
}

// apply fuses one span that the channels have gone through already. begins = it is the first of a summary.
func (f *fused) apply(begins bool, sink Sink) {
	if begins {
		f.weigh()
	}
	for from := 0; from < f.readings[0].Len(); {
		from = f.stage.Apply(f.readings, from, &f.lane.readings)
		f.lane.deliver(sink)
	}
}

// weigh settles the weights of a summary.
func (f *fused) weigh() {
	for i, r := range f.readings {
		p := &f.parts[i]
		p.NoiseAmperes, p.ZeroAmperes, p.GainRatio = r.NoiseAmperes, r.ZeroAmperes, r.GainRatio
	}
	f.stage.Weigh(f.parts)
}

// learn takes the covariances an estimator stated.
func (f *fused) learn(covariances []*plugin.ErrorCovariance) {
	for i := range f.parts {
		f.parts[i].Covariances = nil
	}
	for _, c := range covariances {
		first, second := f.place(c.GetFirst()), f.place(c.GetSecond())
		if first >= 0 && second >= 0 {
			f.state(first, second, c.GetSquareAmperes())
			f.state(second, first, c.GetSquareAmperes())
		}
	}
}

func (f *fused) place(channel string) int {
	for i, lane := range f.of {
		if lane.Name == channel {
			return i
		}
	}
	return -1
}

func (f *fused) state(i, j int, squareAmperes float64) {
	p := &f.parts[i]
	for len(p.Covariances) < len(f.of) {
		p.Covariances = append(p.Covariances, math.NaN())
	}
	p.Covariances[j] = squareAmperes
}

// summarise tells what the fused current was made of since the summary before, and where it stands. It comes after the channels'.
func (f *fused) summarise(channels []*plugin.ChannelSummary) (*plugin.Fused, stand) {
	for i, c := range channels {
		f.parts[i].MeanAmperes = math.NaN()
		if c.GetReadingCount() > 0 {
			f.parts[i].MeanAmperes = c.GetMeanAmperes() - f.readings[i].Offset
		}
	}
	l := f.lane
	totals := l.account.Totals()
	summary := &plugin.Fused{IntegralSeconds: totals.Since(l.summed).HeldSeconds()}
	f.shares = f.stage.Take(f.shares[:0])
	for i, share := range f.shares {
		f.raw += share.Coulombs
		if share.WeightSeconds != 0 || share.Coulombs != 0 {
			summary.Shares = append(summary.Shares, &plugin.FusedShare{
				Name: f.of[i].Name, WeightSeconds: share.WeightSeconds, IntegralCoulombs: share.Coulombs,
			})
		}
	}
	return summary, l.stands(totals, f.raw-l.sign()*coulombs(totals.Net()))
}

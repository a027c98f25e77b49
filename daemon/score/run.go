package score

import (
	"context"
	"errors"
	"fmt"

	"github.com/ampledger/ampledger/daemon"
	"github.com/ampledger/ampledger/daemon/config"
	"github.com/ampledger/ampledger/daemon/pipeline"
)

// Run starts drivers and estimators as plugin processes and takes their scans through to the end. progress, which may be nil, is told now
// and then how many readings of the truth have been taken.
func (p *Plan) Run(ctx context.Context, o *daemon.Options, progress func(readings uint64)) (*Run, error) {
	if err := o.CheckShipped(p.config); err != nil {
		return nil, err
	}
	b, err := newBench(p, p.variants, world{
		device: func(d config.Device, settings settle, to []*pipeline.Conductor) device {
			return daemon.OfflineDevice(p.config, o, d, settings, to)
		},
		start: daemon.Starter(p.config, o),
	})
	if err != nil {
		return nil, err
	}
	b.checked = true
	if progress != nil {
		b.seen = progress
	}
	return b.run(ctx, p.variants)
}

// checkpoint holds every channel against the truth.
func (b *bench) checkpoint(monotonic int64) {
	b.eachTrack(func(t *track, a, truth *pipeline.Account) { t.check(a, truth, float64(monotonic-b.began)*1e-9) })
}

// eachTrack visits the tracks with where they stand.
func (b *bench) eachTrack(visit func(t *track, a, truth *pipeline.Account)) {
	truth := b.conductors[0].Accounts()[0]
	for _, c := range b.conductors[1:] {
		for _, a := range c.Accounts() {
			if t := b.judge.tracks[a.Lane]; t != nil {
				visit(t, &a, &truth)
			}
		}
	}
}

// result gives the scores after the last reading.
func (b *bench) result() (*Run, error) {
	var fault error
	for _, c := range b.conductors {
		fault = errors.Join(fault, c.EstimatorFault())
	}
	truth := b.conductors[0].Accounts()[0]
	if fault == nil && truth.Total.Readings == 0 {
		fault = fmt.Errorf("truth %s: no reading of it can be used", b.plan.truth.name)
	}
	if fault != nil {
		return nil, fault
	}
	r := &Run{
		Conductor: b.plan.scored.Name, Truth: b.plan.truth.name, ReadingCount: truth.Total.Readings,
		MissingCount: b.readings - truth.Total.Readings,
		Notes:        b.judge.notes, Seconds: float64(truth.Total.DurationNanos) * 1e-9, TrueCoulombs: float64(truth.Total.Net()+truth.Adjustment) * 1e-6,
	}
	b.eachTrack(func(t *track, a, truth *pipeline.Account) { t.stand(a, truth) })
	for _, t := range b.judge.order {
		r.Scores = append(r.Scores, t.finish())
	}
	return r, nil
}

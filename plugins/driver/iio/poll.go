package iio

import (
	"context"
	"log"

	"github.com/ampledger/ampledger/plugins/driver/internal/polling"
	"github.com/ampledger/ampledger/plugins/plugin"
)

// poll reads the attributes at the rate of the plan.
func (d *Driver) poll(ctx context.Context, emit func(*plugin.Frame) error) error {
	probes, err := openProbes(d.plan)
	defer func() { closeProbes(probes) }()
	if err != nil {
		return err
	}
	return d.pollProbes(ctx, probes, emit)
}

func (d *Driver) pollProbes(ctx context.Context, probes []probe, emit func(*plugin.Frame) error) error {
	return polling.New(&attributes{probes, d.now, d.log}, len(probes), d.plan.rateHertz, d.now, emit).Run(ctx)
}

// attributes are the open attributes of a device, a polling.Source.
type attributes struct {
	probes []probe
	now    func() (int64, error)
	log    *log.Logger
}

// Take reads one after the other.
func (a *attributes) Take(columns []*plugin.Column, scan int) (read polling.Span, taken bool, err error) {
	if read.From, err = a.now(); err != nil {
		return read, false, err
	}
	for i := range a.probes {
		if err := a.probes[i].take(columns[i], scan, a.log); err != nil {
			return read, false, err
		}
	}
	read.To, err = a.now()
	return read, true, err
}

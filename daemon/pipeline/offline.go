package pipeline

import (
	"context"
	"errors"
	"fmt"

	"github.com/ampledger/ampledger/daemon/scan"
)

// Offline takes finite devices through their conductors to the end, as fast as possible and in lockstep. Frames of different devices are
// taken in the order of their monotonic times, of equal ones in the order of the devices, so that the same input gives the same
// output. begin is called when all devices have been described, before the first frame. A device that fails ends there; the others go
// on, what was read is kept, and the failure is returned at the end.
func Offline(ctx context.Context, devices []*Device, conductors []*Conductor, begin func() error) error {
	defer closeAll(devices, conductors)
	for _, d := range devices {
		if err := d.Open(ctx); err != nil {
			return err
		}
		if !d.finite {
			return fmt.Errorf("device %s: its source has no end, so it cannot be processed offline", d.Name())
		}
	}
	if err := begin(); err != nil {
		return err
	}
	failure := newMerge(ctx, devices).run(ctx)
	for _, c := range conductors {
		failure = errors.Join(failure, c.EstimatorFault())
	}
	return failure
}

func closeAll(devices []*Device, conductors []*Conductor) {
	for _, c := range conductors {
		c.Close()
	}
	for _, d := range devices {
		d.Close()
	}
}

// merge interleaves the frames of several devices.
type merge struct {
	devices []*Device
	heads   []*scan.Frame // nil = ended
	failure error
}

func newMerge(ctx context.Context, devices []*Device) *merge {
	m := &merge{devices: devices, heads: make([]*scan.Frame, len(devices))}
	for i := range devices {
		m.fetch(ctx, i)
	}
	return m
}

// fetch gets the device's next frame, or ends the device.
func (m *merge) fetch(ctx context.Context, i int) {
	frame, err := m.devices[i].Next(ctx)
	if err == nil {
		m.heads[i] = frame
		return
	}
	m.heads[i] = nil
	if !isEnd(err) {
		m.failure = errors.Join(m.failure, fmt.Errorf("device %s: %w", m.devices[i].Name(), err))
	}
	m.devices[i].End(context.WithoutCancel(ctx))
}

func (m *merge) run(ctx context.Context) error {
	for {
		earliest := -1
		for i, head := range m.heads {
			if head != nil && (earliest < 0 || head.At(0) < m.heads[earliest].At(0)) {
				earliest = i
			}
		}
		if earliest < 0 {
			return m.failure
		}
		m.devices[earliest].Deliver(ctx, m.heads[earliest])
		m.fetch(ctx, earliest)
	}
}

package pipeline

import (
	"cmp"
	"fmt"
	"slices"

	"github.com/ampledger/ampledger/daemon/offset"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// LaneHealth is how a channel is doing.
type LaneHealth struct {
	Lane       *Lane
	FullScale  float64 // amperes; 0 = not known
	Newest     uint64  // sequence of its newest reading
	Readings   uint64
	Unusable   uint64
	AnyReading bool
	Stale      bool
	InForce    uint64 // record of the change in force; 0 = the configuration alone
}

// Health gives how each channel is doing.
func (c *Conductor) Health() []LaneHealth {
	c.mu.Lock()
	defer c.mu.Unlock()
	var all []LaneHealth
	for _, lane := range c.lanes {
		h := LaneHealth{
			Lane: lane, Readings: lane.total, Unusable: lane.total - lane.usable, AnyReading: lane.total > 0, Stale: c.events.stale[lane.Name],
			InForce: lane.correction.Record,
		}
		if h.AnyReading {
			h.Newest = lane.next - 1
		}
		if lane.bound {
			if full, known := lane.sensor.FullScale(); known {
				h.FullScale = full
			}
		}
		all = append(all, h)
	}
	return all
}

// EstimatorStatus is how the estimator in force is doing.
type EstimatorStatus struct {
	Plugin     string
	Generation uint64
	Method     string
	PID        int
	Fault      error
	Skipped    uint64
	Newest     []NamedEstimate // in the order of the channels' names
	Outputs    []*ampledgerv1.DerivedValue

	Quarantined bool // it failed too often and is not started again
}

// NamedEstimate is a channel's newest estimate.
type NamedEstimate struct {
	Channel string
	offset.Estimate
}

// Estimator gives the estimator in force; false = the conductor has none.
func (c *Conductor) Estimator() (EstimatorStatus, bool) {
	c.mu.Lock()
	current, quarantined := c.estimation.current, c.estimation.quarantined
	c.mu.Unlock()
	if current == nil {
		return EstimatorStatus{}, false
	}
	status := current.status()
	status.Quarantined = current == quarantined
	return status, true
}

// EstimatorFault says why the estimator in force works no more; nil = it does, or there is none.
func (c *Conductor) EstimatorFault() error {
	status, has := c.Estimator()
	if !has || status.Fault == nil {
		return nil
	}
	return fmt.Errorf("conductor %s: %w", c.Name(), status.Fault)
}

func (r *run) status() EstimatorStatus {
	r.mu.Lock()
	defer r.mu.Unlock()
	status := EstimatorStatus{
		Plugin: r.candidate.Program.Name(), Generation: r.generation, Method: r.started.Method, Fault: r.fault, Skipped: r.skipped,
	}
	if r.started.Observer != nil {
		status.PID = r.started.PID()
	}
	if n := len(r.history.records); n > 0 {
		status.Outputs = r.history.records[n-1].GetOutputs()
	}
	for lane, e := range r.newest {
		if lane.offset == nil {
			continue // the fused current has no offset of its own
		}
		status.Newest = append(status.Newest, NamedEstimate{lane.Name, e.Estimate})
	}
	slices.SortFunc(status.Newest, func(a, b NamedEstimate) int { return cmp.Compare(a.Channel, b.Channel) })
	return status
}

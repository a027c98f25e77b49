package fixedzero

import (
	"context"
	"encoding/json"
	"fmt"
	"maps"
	"slices"

	"github.com/ampledger/ampledger/plugins/plugin"
	pluginv1 "github.com/ampledger/ampledger/proto/ampledger/plugin/v1"
)

// Estimator implements plugin.Estimator.
type Estimator struct {
	settings settings
	zeros    map[string]*zero
}

// New makes an estimator that is not configured yet.
func New() *Estimator { return &Estimator{} }

// Configure implements plugin.Estimator.
func (e *Estimator) Configure(_ context.Context, conductor plugin.Conductor, from plugin.Settings) (method string, err error) {
	e.settings = settings{Zero: fromFirstRest, MinimumRestSeconds: 5}
	if err := from.Decode(&e.settings); err != nil {
		return "", err
	}
	if err := e.settings.validate(conductor.Channels); err != nil {
		return "", err
	}
	e.zeros = map[string]*zero{}
	for _, c := range conductor.Channels {
		e.zeros[c.GetName()] = newZero(c, &e.settings)
	}
	return map[string]string{
		fromFirstRest: "the mean over the first rest, held",
		fromEachRest:  "the mean over the newest rest, held until the next",
		declared:      "the declared zero, held",
	}[e.settings.Zero], nil
}

// Observe implements plugin.Estimator.
func (e *Estimator) Observe(summary *plugin.Summary) ([]*plugin.ChannelEstimate, error) {
	rest := summary.GetRest() == pluginv1.Rest_REST_CERTAIN && e.settings.Zero != declared
	estimates := make([]*plugin.ChannelEstimate, 0, len(summary.GetChannels()))
	for _, c := range summary.GetChannels() {
		z := e.zeros[c.GetName()]
		if z == nil {
			return nil, fmt.Errorf("channel %q was not configured", c.GetName())
		}
		z.observe(summary, c, rest, &e.settings)
		estimates = append(estimates, z.estimate(c.GetName()))
	}
	return estimates, nil
}

// snapshot is the state as it is kept.
type snapshot struct {
	Format string           `json:"format"`
	Zeros  map[string]*zero `json:"zeros"`
}

const snapshotFormat = "fixedzero/1"

// Snapshot implements plugin.Estimator.
func (e *Estimator) Snapshot() ([]byte, error) {
	return json.Marshal(snapshot{snapshotFormat, e.zeros})
}

// Restore implements plugin.Estimator. A rest that was going on goes on if the next summary follows on the newest one before.
func (e *Estimator) Restore(state []byte) error {
	var s snapshot
	if err := json.Unmarshal(state, &s); err != nil {
		return fmt.Errorf("no snapshot of fixedzero: %w", err)
	}
	if s.Format != snapshotFormat {
		return fmt.Errorf("snapshot is of format %q, this estimator reads %q", s.Format, snapshotFormat)
	}
	for _, name := range slices.Sorted(maps.Keys(s.Zeros)) {
		if err := s.Zeros[name].check(); err != nil {
			return fmt.Errorf("snapshot, channel %q: %w", name, err)
		}
	}
	for name, z := range e.zeros {
		if kept := s.Zeros[name]; kept != nil {
			z.takeOver(kept, e.settings.Zero == declared)
		}
	}
	return nil
}

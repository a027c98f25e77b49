package plugin

import (
	"context"

	pluginv1 "github.com/ampledger/ampledger/proto/ampledger/plugin/v1"
)

// The messages an estimator speaks in.
type (
	// Channel is what is known of a channel beforehand.
	Channel = pluginv1.EstimatorChannel
	// Summary is what was read over a fixed number of scans.
	Summary = pluginv1.Summary
	// ChannelSummary is one channel's part of it.
	ChannelSummary = pluginv1.ChannelSummary
	// ChannelEstimate is the offset of one channel.
	ChannelEstimate = pluginv1.ChannelEstimate
)

// Conductor is what an estimator is told of its conductor.
type Conductor struct {
	Name             string
	Channels         []*Channel
	ChargeIsPositive bool    // positive current flows into the pack
	CapacityCoulombs float64 // rated charge of what it belongs to, as configured; 0 = not known
}

// Estimator finds the offsets of one conductor's channels.
type Estimator interface {
	// Configure takes the channels and the settings and says in one line how the offset is found. It is called once, first.
	Configure(ctx context.Context, conductor Conductor, settings Settings) (method string, err error)
	// Observe takes the next summary and gives the estimates after it. The same summaries in the same order must give the same
	// estimates to the last bit: no clock, no unseeded chance. The summary is the callee's to keep.
	Observe(summary *Summary) ([]*ChannelEstimate, error)
	// Snapshot gives the state after the newest summary.
	Snapshot() ([]byte, error)
	// Restore sets the state to a snapshot of the same estimator; it is called after Configure and before Observe, or not at all.
	// A snapshot of another estimator or version is an error.
	Restore(state []byte) error
}

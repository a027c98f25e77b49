package plugin

import (
	"time"

	pluginv1 "github.com/ampledger/ampledger/proto/ampledger/plugin/v1"
)

// More messages an estimator speaks in.
type (
	// Answer is what an estimator says to one summary.
	Answer = pluginv1.RunResponse
	// Note is something an estimator has to say beside its estimates.
	Note = pluginv1.Note
)

// PlayDriven is an Estimator that wants hysteresis computed at full rate: the daemon drives play operators of these half-widths, in
// amperes, by channel, and their mean outputs come with each summary (ChannelSummary.PlayMeanRatios). It is asked once, after Configure.
type PlayDriven interface {
	// PlayHalfWidths gives the half-widths in amperes, each above 0, by channel.
	PlayHalfWidths() map[string][]float64
}

// Noted is an Estimator that has things to say beside its estimates. It is asked after each Observe and gives what came up since.
type Noted interface {
	// Notes gives what came up since it was last called, in order.
	Notes() []*Note
}

// Aging is an Estimator whose knowledge gets older while nothing is read. It is asked once, after Restore, with the time since the newest
// summary the state contains; the next summary begins a new time base.
type Aging interface {
	// Age lets the state grow older by a time, 0 or more.
	Age(by time.Duration)
}

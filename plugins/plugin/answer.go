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
	// FusedCorrection is a correction of the fused current's integral.
	FusedCorrection = pluginv1.FusedCorrection
	// ErrorCovariance is the covariance of what is left wrong with the currents of two channels.
	ErrorCovariance = pluginv1.ErrorCovariance
	// Mark is a moment at which the charge is known from elsewhere.
	Mark = pluginv1.Mark
	// Fused is the weighted mean of several channels' currents over a summary.
	Fused = pluginv1.Fused
	// FusedShare is what a channel added to it.
	FusedShare = pluginv1.FusedShare
	// Charge is what the ledger holds of the conductor.
	Charge = pluginv1.Charge
	// Output is a quantity that an estimator derives.
	Output = pluginv1.Output
	// OutputValue is what an output is.
	OutputValue = pluginv1.OutputValue
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

// Fusing is an Estimator that knows what the fused current of a conductor is off by, and how the errors of its channels hang together. Both
// are asked after each Observe, of the summary just observed.
type Fusing interface {
	// Fused gives the correction of the fused current's integral; nil if the summary had no fused current.
	Fused() *FusedCorrection
	// Covariances gives one for each pair of channels, those with themselves included; none if the summary had no fused current.
	Covariances() []*ErrorCovariance
}

// Deriving is an Estimator that derives quantities beside the offsets, such as the state of charge. They are streamed, recorded and
// compared, and change nothing else.
type Deriving interface {
	// Outputs names them. It is asked once, after Configure.
	Outputs() []*Output
	// Derived gives those that are known. It is asked after each Observe, of the summary just observed.
	Derived() []*OutputValue
}

// FullRate is an Estimator that looks at each reading. The summaries carry them then (ChannelSummary.ReadingAmperes,
// Summary.ScanOffsetNanos), but for those from before it was started that are not at hand any more.
type FullRate interface {
	// WantsReadings is asked once, after Configure.
	WantsReadings() bool
}

// Aging is an Estimator whose knowledge gets older while nothing is read. It is asked once, after Restore, with the time since the newest
// summary the state contains; the next summary begins a new time base.
type Aging interface {
	// Age lets the state grow older by a time, 0 or more.
	Age(by time.Duration)
}

// Ask lets an estimator observe a summary and gives all it has to say, as it goes to the daemon.
func Ask(e Estimator, summary *Summary) (*Answer, error) {
	estimates, err := e.Observe(summary)
	if err != nil {
		return nil, err
	}
	answer := &Answer{Device: summary.GetDevice(), ThroughSequence: summary.GetLastSequence(), Channels: estimates}
	if noted, has := e.(Noted); has {
		answer.Notes = noted.Notes()
	}
	if fusing, is := e.(Fusing); is {
		answer.Fused, answer.Covariances = fusing.Fused(), fusing.Covariances()
	}
	if deriving, is := e.(Deriving); is {
		answer.Outputs = deriving.Derived()
	}
	return answer, nil
}

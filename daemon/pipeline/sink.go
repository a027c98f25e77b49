package pipeline

import (
	"github.com/ampledger/ampledger/daemon/charge"
	"github.com/ampledger/ampledger/daemon/comparison"
	"github.com/ampledger/ampledger/daemon/scan"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// Sink takes what the pipeline gives. Calls for one conductor come one at a time, those for different conductors do not.
type Sink interface {
	// Readings takes one channel's readings of one span; they are the callee's only during the call.
	Readings(lane *Lane, r *scan.Readings)
	// Event takes one change of an event, not yet on disk.
	Event(event *ampledgerv1.Event)
	// Post takes a ledger entry. False = no room now: the pipeline keeps the difference and posts a longer entry later.
	Post(posting *Posting) bool
	// Keep stores an estimator's state in the place of the one before. It is called by the estimator's own goroutine, outside of any lock,
	// and may take its time.
	Keep(conductor string, kept *Kept)
	// Estimated takes what an estimator said to a summary; recorded = it is one of those to be kept. It is called by the estimator's own
	// goroutine, offline under the conductor's lock, and must not block.
	Estimated(record *comparison.Record, recorded bool)
	// Ended says that no more readings of this conductor will come: each of its devices has come to its end.
	Ended(conductor string)
}

// Kind says what a posting is.
type Kind string

// The kinds of postings, named as the ledger's entries are.
const (
	Interval   Kind = "interval"   // what was counted
	Adjustment Kind = "adjustment" // what was learned later of what had been counted
	Gap        Kind = "gap"        // the time the daemon was away
	Noted      Kind = "mark"       // a mark that an estimator was given

	Commissioned Kind = "commissioning" // what follows is counted with another correction
)

// Posting is an entry for the ledger, of one channel.
type Posting struct {
	Kind       Kind
	Lane       *Lane
	Counted    charge.Totals // the difference; where an estimator states the uncertainty of its correction, that stands as ZeroCoulombs
	Gaps       []charge.Gap  // the longest in it
	Epoch      uint64
	Estimator  string
	Generation uint64

	AdjustmentMicrocoulombs int64  // of an adjustment: to be added to net
	Reason                  string // why it is posted, or what an adjustment was learned from
	Mark                    *Mark  // of a mark
}

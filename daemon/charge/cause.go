package charge

import "github.com/ampledger/ampledger/daemon/scan"

// Cause says why an interval is a gap: any of the qualities of the readings in it, and the causes below.
type Cause uint16

// The causes beside the qualities, which keep their own bits.
const (
	Silence Cause = 1 << (8 + iota) // longer than the limit
	Lost                            // the sequence jumped
	Restart                         // the device's time base changed
)

// skipped are the causes that hide no charge.
const skipped = Cause(scan.TimeRepeated | scan.TimeBackwards)

var causeNames = [...]struct {
	cause Cause
	name  string
}{{Silence, "silence"}, {Lost, "lost"}, {Restart, "restart"}}

// Names appends the name of each cause set.
func (c Cause) Names(to []string) []string {
	for _, known := range causeNames {
		if c&known.cause != 0 {
			to = append(to, known.name)
		}
	}
	return scan.Quality(c).Names(to)
}

// hides tells that charge may be hidden, so that the interval is a gap.
func (c Cause) hides() bool { return c&^skipped != 0 }

// saturated tells that the current is known to have been beyond what can be read.
func (c Cause) saturated() bool { return c&Cause(scan.Saturated|scan.OutOfRange) != 0 }

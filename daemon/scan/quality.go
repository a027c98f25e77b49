package scan

import "strings"

// Quality says what is wrong with one reading; 0 = all good. The bits are those of ampledger.v1.Quality.
type Quality uint8

// The causes. Each of them makes a reading unusable: it is flagged and counted, never integrated.
const (
	Missing          Quality = 1 << iota // no value in this scan
	NotFinite                            // NaN or an infinity
	Saturated                            // at or beyond the limits of the converter
	OutOfRange                           // beyond what the sensor can read
	TimeRepeated                         // same time as the scan before
	TimeBackwards                        // earlier than the scan before
	AuxiliaryMissing                     // no supply or temperature to correct by
)

// Causes lists every single bit, in the order of the constants.
var Causes = [...]Quality{Missing, NotFinite, Saturated, OutOfRange, TimeRepeated, TimeBackwards, AuxiliaryMissing}

var causeNames = [len(Causes)]string{
	"missing", "not finite", "saturated", "out of range", "time repeated", "time backwards", "supply or temperature missing",
}

// String names the causes, separated by commas; "good" if there are none.
func (q Quality) String() string {
	names := q.Names(nil)
	if len(names) == 0 {
		return "good"
	}
	return strings.Join(names, ", ")
}

// Names appends the name of each cause set.
func (q Quality) Names(to []string) []string {
	for i, bit := range Causes {
		if q&bit != 0 {
			to = append(to, causeNames[i])
		}
	}
	return to
}

package show

import (
	"fmt"
	"io"
	"math"

	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// Comparison writes what the offsets of two channels of one conductor would have cost, how far the two agree once they are
// compensated, and, against a truth, by how much each is off.
func Comparison(to io.Writer, a, b, truth *ampledgerv1.Account) error {
	for _, each := range []*ampledgerv1.Account{a, b} {
		fmt.Fprintf(to, "Uncompensated, the %s channel's offset would have put %+.4f Ah into these %s.\n", each.GetChannel(),
			float64(each.GetOffsetMicrocoulombs())/microcoulombsPerAmpereHour, Duration(each.GetDurationNanos()))
	}
	difference := a.GetBalanceMicrocoulombs() - b.GetBalanceMicrocoulombs()
	u := math.Hypot(a.GetUncertainty().GetCombinedCoulombs(), b.GetUncertainty().GetCombinedCoulombs())
	fmt.Fprintf(to, "Uncompensated, the two differ by %s Ah. Compensated they differ by %s Ah; the standard uncertainty of that difference is %s Ah.\n",
		AmpereHours(difference+a.GetOffsetMicrocoulombs()-b.GetOffsetMicrocoulombs()), AmpereHours(difference), coulombsToAmpereHours(u))
	_, err := fmt.Fprintf(to, "The simulator knows the truth: net %s Ah. Off by %s Ah (%s, interval ± %s) and %s Ah (%s, interval ± %s).\n",
		AmpereHours(truth.GetBalanceMicrocoulombs()),
		AmpereHours(a.GetBalanceMicrocoulombs()-truth.GetBalanceMicrocoulombs()), a.GetChannel(), coulombsToAmpereHours(a.GetUncertainty().GetInterval95Coulombs()),
		AmpereHours(b.GetBalanceMicrocoulombs()-truth.GetBalanceMicrocoulombs()), b.GetChannel(), coulombsToAmpereHours(b.GetUncertainty().GetInterval95Coulombs()))
	return err
}

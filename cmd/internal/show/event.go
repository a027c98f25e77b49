package show

import (
	"fmt"
	"strings"

	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// Event writes one change of an event on one line.
func Event(e *ampledgerv1.Event) string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s  %-8s  %s", Clock(e.GetChangeWallNanos()), word(e.GetState().String(), "EVENT_STATE_"), e.GetConductor())
	if e.GetChannel() != "" {
		fmt.Fprintf(&b, "/%s", e.GetChannel())
	}
	fmt.Fprintf(&b, "  %s (%s)", e.GetElement(), strings.ReplaceAll(e.GetKind(), "_", " "))
	if measured(e) {
		fmt.Fprintf(&b, "  peak %s%.1f ± %.1f A, %.3f s since onset, %s Ah, %.4g A²s", bound(e), e.GetPeakAmperes(), e.GetPeakUncertaintyAmperes(),
			float64(e.GetChangeMonotonicNanos()-e.GetOnsetMonotonicNanos())/1e9, coulombsToAmpereHours(e.GetChargeCoulombs()), e.GetSquareAmpereSeconds())
	}
	if e.GetStaticOnly() && measured(e) {
		b.WriteString("  [no fresh offset estimate]")
	}
	if e.GetDetail() != "" {
		fmt.Fprintf(&b, "  %s", Plain(e.GetDetail()))
	}
	if a := e.GetAcknowledgement(); a != nil {
		fmt.Fprintf(&b, "  [seen by %s at %s", a.GetBy(), Clock(a.GetWallNanos()))
		if a.GetNote() != "" {
			fmt.Fprintf(&b, ": %s", a.GetNote())
		}
		b.WriteString("]")
	}
	if e.GetLogSequence() != 0 {
		fmt.Fprintf(&b, "  %s  #%d", e.GetEventId(), e.GetLogSequence())
	}
	return b.String()
}

// bound says that the figures are least magnitudes.
func bound(e *ampledgerv1.Event) string {
	if e.GetLowerBound() {
		return "at least (sensor at its limit) "
	}
	return ""
}

// measured tells whether the event is about a current.
func measured(e *ampledgerv1.Event) bool {
	switch e.GetKind() {
	case "instantaneous", "definite_time", "inverse_time":
		return true
	}
	return false
}

// word makes an enum's name a word.
func word(name, prefix string) string { return strings.ToLower(strings.TrimPrefix(name, prefix)) }

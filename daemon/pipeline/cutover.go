package pipeline

import "fmt"

// cutOver is the moment at which another estimator took over, on one channel.
type cutOver struct {
	sequence uint64 // the first that goes through the new one's offset
	text     string // who took over from whom, and what both said; empty = nothing is to be posted
}

// noteCutOver has each channel post, at the end of the first summary that goes through the new offset, what took over from what; the conductor's
// lock is held.
func (c *Conductor) noteCutOver(old, next *run, at map[string]uint64) {
	if old == nil {
		return
	}
	what := "swap"
	if old.failure() != nil && old.candidate.Program.Name() == next.candidate.Program.Name() {
		what = "restart"
	}
	for _, lane := range c.lanes {
		if lane.account != nil {
			from := at[lane.Device]
			lane.cutOver = cutOver{from, fmt.Sprintf("%s at sequence %d: %s; then %s", what, from, old.word(lane), next.word(lane))}
		}
	}
}

// cutsOver tells that the cut-over is to be posted now.
func (l *Lane) cutsOver() bool { return l.cutOver.text != "" && l.next > l.cutOver.sequence }

// word is what an estimator says of a channel, in words.
func (r *run) word(lane *Lane) string {
	who := fmt.Sprintf("%s, generation %d", r.candidate.Program.Name(), r.generation)
	newest, has := r.of(lane)
	switch {
	case !has:
		return who + ", without an estimate"
	case lane.offset == nil: // the fused current has no offset of its own
		return who
	}
	return fmt.Sprintf("%s, %+.6g A ± %.3g A", who, newest.Amperes, newest.Uncertainty)
}

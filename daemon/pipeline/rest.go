package pipeline

import (
	"github.com/ampledger/ampledger/daemon/scan"
	pluginv1 "github.com/ampledger/ampledger/proto/ampledger/plugin/v1"
)

// contact is the newest word of a conductor's contactor input.
type contact struct {
	known, open bool
}

// restTally gathers whether it was certain throughout a summary that no current flowed.
type restTally struct {
	open, declared, closed, unknown int // scans: contactor open; else declared by an operator; neither; not known
}

// see takes the contactor's word for the scans of a span, from its column if it is read by the same device, else the newest one. The
// first of them, as many as declared, are without current by an operator's word.
func (c *contact) see(column int, span *scan.Frame, declared int, tally *restTally) {
	for k := 0; k < span.Count; k++ {
		if column >= 0 {
			v := span.Columns[column].At(k)
			c.known = v-v == 0 && span.Columns[column].FlagAt(k) == 0
			c.open = v != 0
		}
		switch {
		case c.known && c.open:
			tally.open++
		case k < declared:
			tally.declared++
		case c.known:
			tally.closed++
		default:
			tally.unknown++
		}
	}
}

// verdict is certain only if every scan was.
func (t *restTally) verdict() pluginv1.Rest {
	switch {
	case t.unknown > 0:
		return pluginv1.Rest_REST_UNSPECIFIED
	case t.closed > 0:
		return pluginv1.Rest_REST_NONE
	}
	return pluginv1.Rest_REST_CERTAIN
}

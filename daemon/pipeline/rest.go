package pipeline

import (
	"github.com/ampledger/ampledger/daemon/scan"
	pluginv1 "github.com/ampledger/ampledger/proto/ampledger/plugin/v1"
)

// contact is the newest word of a conductor's contactor input.
type contact struct {
	known, open bool
}

// restTally gathers whether the contactor was open throughout a summary.
type restTally struct {
	open, closed, unknown int
}

// see takes the contactor's word for the scans of a span: from its column if it is read by the same device, else the newest one.
func (c *contact) see(column int, span *scan.Frame, tally *restTally) {
	for k := 0; k < span.Count; k++ {
		if column >= 0 {
			v := span.Columns[column].At(k)
			c.known = v-v == 0 && span.Columns[column].FlagAt(k) == 0
			c.open = v != 0
		}
		switch {
		case !c.known:
			tally.unknown++
		case c.open:
			tally.open++
		default:
			tally.closed++
		}
	}
}

// verdict is certain only if every scan said so.
func (t *restTally) verdict(contactor bool) pluginv1.Rest {
	switch {
	case !contactor || t.unknown > 0:
		return pluginv1.Rest_REST_UNSPECIFIED
	case t.closed > 0:
		return pluginv1.Rest_REST_NONE
	}
	return pluginv1.Rest_REST_CERTAIN
}

package daemon

import (
	"fmt"
	"sync"
	"time"

	"google.golang.org/protobuf/proto"

	"github.com/ampledger/ampledger/daemon/config"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// diskWatch makes an event of a store that cannot be written to, on each conductor, raised at the first failure and cleared at the next
// success: measuring, guarding and streaming go on meanwhile, and what is to be recorded waits in the recorder's queue. Its methods
// are safe for concurrent use.
type diskWatch struct {
	conductors []string
	prefix     string // makes event identifiers unique for ever
	tell       func(*ampledgerv1.Event)

	mu     sync.Mutex
	lost   int // events that will not be recorded, since told
	times  int
	raised []*ampledgerv1.Event // nil = it works
}

// newDiskWatch makes one for a configuration's conductors; tell is to be set before it is used.
func newDiskWatch(c *config.Config, opening uint64) *diskWatch {
	d := &diskWatch{prefix: fmt.Sprint(opening)}
	for _, conductor := range c.Conductors {
		d.conductors = append(d.conductors, conductor.Name)
	}
	return d
}

// failed takes a failure.
func (d *diskWatch) failed(err error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.raised != nil {
		return
	}
	d.times++
	now := time.Now().UnixNano()
	for _, conductor := range d.conductors {
		event := &ampledgerv1.Event{
			EventId: fmt.Sprintf("%s/%s/storage/ledger/%d", d.prefix, conductor, d.times), State: ampledgerv1.EventState_EVENT_STATE_RAISED,
			Conductor: conductor, Element: "ledger", Kind: "storage", Direction: ampledgerv1.Direction_DIRECTION_BOTH,
			OnsetWallNanos: now, ChangeWallNanos: now, Detail: "nothing can be recorded, what was counted waits in memory: " + err.Error(),
		}
		d.raised = append(d.raised, event)
		d.tell(event)
	}
}

// unrecorded takes an event that will not be recorded.
func (d *diskWatch) unrecorded() {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.lost++
}

// works takes a success.
func (d *diskWatch) works() {
	d.mu.Lock()
	defer d.mu.Unlock()
	for _, event := range d.raised {
		over := proto.CloneOf(event)
		over.State, over.ChangeWallNanos, over.Detail = ampledgerv1.EventState_EVENT_STATE_CLEARED, time.Now().UnixNano(), "over: "+event.GetDetail()
		if d.lost > 0 {
			over.Detail += fmt.Sprintf("; %d changes of events were told and are not recorded", d.lost)
		}
		d.tell(over)
	}
	if d.raised != nil {
		d.lost = 0
	}
	d.raised = nil
}

package daemon

import (
	"strings"
	"sync"

	"github.com/ampledger/ampledger/daemon/pipeline"
)

// How the entries tell that a change is out of force, behind the name of its record, and that it is in force once more.
const (
	notInForce   = ": not in force any more"
	inForceAgain = ": in force again: the configuration converts as it did when it was found"
)

// told is what the ledger last says of the changes of each channel, so that it says it once. Safe for concurrent use; the zero value knows of none.
type told struct {
	mutex   sync.Mutex
	reasons map[*pipeline.Lane]string
}

// set says what the ledger has.
func (t *told) set(lane *pipeline.Lane, reason string) {
	t.mutex.Lock()
	defer t.mutex.Unlock()
	t.put(lane, reason)
}

func (t *told) put(lane *pipeline.Lane, reason string) {
	if t.reasons == nil {
		t.reasons = map[*pipeline.Lane]string{}
	}
	t.reasons[lane] = reason
}

// post has an entry posted unless it is what the ledger says last. False = it was not taken.
func (t *told) post(lane *pipeline.Lane, reason string, post func() bool) bool {
	t.mutex.Lock()
	defer t.mutex.Unlock()
	if t.reasons[lane] == reason {
		return true
	}
	if !post() {
		return false
	}
	t.put(lane, reason)
	return true
}

// again has it posted that a change is in force again, if the ledger says last that it is not. False = it was not taken.
func (t *told) again(lane *pipeline.Lane, post func(reason string) bool) bool {
	t.mutex.Lock()
	defer t.mutex.Unlock()
	name, _, out := strings.Cut(t.reasons[lane], notInForce)
	if !out {
		return true
	}
	if !post(name + inForceAgain) {
		return false
	}
	t.put(lane, name+inForceAgain)
	return true
}

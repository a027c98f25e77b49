package daemon

import (
	"errors"
	"testing"

	"github.com/google/go-cmp/cmp"

	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// TestADiskThatFailsIsToldOnce fails three times, works, and fails again: each spell is one event on each conductor, raised and cleared.
func TestADiskThatFailsIsToldOnce(t *testing.T) {
	var told []string
	d := &diskWatch{prefix: "4", conductors: []string{"pack", "string"}, tell: func(e *ampledgerv1.Event) {
		told = append(told, e.GetEventId()+" "+e.GetState().String()[len("EVENT_STATE_"):]+" "+e.GetDetail())
	}}
	full := errors.New("disk full")
	d.works()
	for range 3 {
		d.failed(full)
	}
	d.works()
	d.works()
	d.failed(full)
	text := "nothing can be recorded, what was counted waits in memory: disk full"
	want := []string{
		"4/pack/storage/ledger/1 RAISED " + text, "4/string/storage/ledger/1 RAISED " + text,
		"4/pack/storage/ledger/1 CLEARED over: " + text, "4/string/storage/ledger/1 CLEARED over: " + text,
		"4/pack/storage/ledger/2 RAISED " + text, "4/string/storage/ledger/2 RAISED " + text,
	}
	if diff := cmp.Diff(want, told); diff != "" {
		t.Errorf("told (-want +got):\n%s", diff)
	}
}

package store_test

import (
	"errors"
	"testing"

	"github.com/ampledger/ampledger/daemon/store"
	"github.com/ampledger/ampledger/daemon/store/storetest"
)

// TestClock keeps one clock, the newest.
func TestClock(t *testing.T) {
	s := storetest.OpenMemory(t)
	if _, err := s.Clock(t.Context()); !errors.Is(err, store.ErrNoClock) {
		t.Errorf("before one was put: %v", err)
	}
	for _, want := range []store.Clock{{BootID: "a", BootNanos: 1, WallNanos: 2}, {BootID: "b", BootNanos: -3, WallNanos: 1e18}} {
		if err := s.PutClock(t.Context(), want); err != nil {
			t.Fatal(err)
		}
		if got := must(s.Clock(t.Context()))(t); got != want {
			t.Errorf("got %+v, want %+v", got, want)
		}
	}
}

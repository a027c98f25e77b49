//go:build !linux

package daemon

import (
	"errors"

	"github.com/ampledger/ampledger/daemon/store"
)

// hostClock knows no clock here but the wall's.
func hostClock() (store.Clock, error) {
	return store.Clock{}, errors.New("no clock but the wall's is known on this system")
}

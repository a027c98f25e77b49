//go:build !linux

package store

import "errors"

// roomBeside cannot tell how much is free here.
func roomBeside(string) (bytes uint64, err error) { return 0, errors.ErrUnsupported }

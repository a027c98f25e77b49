//go:build !linux

package iio

import "errors"

// boottime fails: there is no industrial I/O either.
func boottime() (int64, error) { return 0, errors.New("industrial I/O is Linux' alone") }

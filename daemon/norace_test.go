//go:build !race

package daemon_test

// raced tells that the race detector watches.
const raced = false

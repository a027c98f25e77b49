//go:build !race

package score_test

// raced tells that the race detector watches.
const raced = false

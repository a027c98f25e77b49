//go:build race

package score_test

// raced tells that the race detector watches, which takes ten times as long: it sees what there is to see in fewer and shorter runs.
const raced = true

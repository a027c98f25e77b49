// Package boottime reads the clock that drivers stamp scans with: it goes on while the machine sleeps and does not follow the wall clock.
// It may be read concurrently.
package boottime

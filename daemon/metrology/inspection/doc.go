// Package inspection looks at what freshly wired channels read for some seconds, and tells what a person would want to know before trusting them.
//
// # Contract
//
// Every function computes from its arguments alone. Nothing is started, locked, read or written; calls may run concurrently. Currents are amperes,
// uncertainties standard uncertainties. Readings are those of one span, unusable ones left out and counted; the channels of a conductor were read at the same time.
// A finding is Passed, Failed, or Untold where there is not enough to tell it by; its text says why, with the figures.
//
// The checks: direction and zero against what is known to flow, noise against what is stated, counts of the range, 50 Hz and 60 Hz pick-up, agreement of
// channels, plausible scale and order of bytes. The limits are common practice, no source; the periodogram's distribution is that of Scargle (1982).
package inspection

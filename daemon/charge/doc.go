// Package charge integrates one channel's readings into charge, batch by batch, and keeps beside the charge what is needed to audit
// it: the gaps, the readings that could not be used, the offset that was subtracted, and the standard uncertainty.
//
// # Contract
//
// An Account is fed every batch of one channel in the order of the sequence, by one goroutine at a time; it starts none, locks
// nothing, reads no clock and does not fail. Apply allocates only while the list of gaps grows to its limit. Nothing of a batch is kept. The
// same readings give the same bits on every machine; cut into other batches they give the same counts and gaps, and charge that differs
// by no more than one microcoulomb.
//
// # Integration
//
// The charge between two usable readings that follow one another is their mean times the time between them (trapezoid), or, for a
// channel whose readings are means over the interval that ends at their time, the later reading times that time (rectangle). The very
// first reading of an averaged channel stands for one Period if the batch has one, else for nothing. Time is the device's monotonic time;
// only across a restart, where there is none in common, it is the difference of the wall-clock labels, and never less than zero.
//
// Charge out and charge in are kept apart reading by reading: each reading stands for half the interval on either side of it (or for all
// of the interval before it) and counts under its own sign. So no charge out ever cancels against charge in within a sum, and a
// zero crossing is counted to within half an interval. Positive amperes are charge out of the pack unless Config.ChargeIsPositive. Net is out less
// in, always.
//
// Sums are compensated (Neumaier). Charge is given in whole microcoulombs, rounded from the sums since the start and never from a part, so
// net = out - in and throughput = out + in hold to the last bit, and differences of Totals add up exactly. Each count stops
// at 4e12 C, which is 400 A for three centuries.
//
// # Errors of the times
//
// Where a batch states a standard uncertainty u of its times, independent from reading to reading, the variance of the charge has the sum of
// (s·u)² besides the noise, with the swing s of each reading: for the trapezoid (I[k-1] - I[k+1])/2, for the rectangle I[k] - I[k+1], and
// at an end what is left of it when the current beyond stays as it is. A steady current has none: what one interval is too long, the next is
// too short. It is counted with the noise, being of its kind. An error common to all times only moves the whole and is no part of it.
//
// # Gaps
//
// An interval between two usable readings is a gap if it is longer than Config.GapNanos, if scans were lost or readings in it were unusable,
// or if the device restarted. The straight line between its ends is assumed and contained in every total; how far that can be off is
// bounded by an assumed current. A repeated or backward time hides no charge: such a reading is counted and skipped, and makes no gap.
// Before the first usable reading there is no interval, so no gap.
//
// A reading that is flagged good but is not finite, or whose time does not advance, is counted under the cause the flag should have named:
// what is wrong upstream may cost a reading, never the account.
package charge

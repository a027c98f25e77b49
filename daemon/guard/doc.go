// Package guard watches one channel's readings for overcurrents and for readings that cannot be right.
//
// A Guard holds elements, each a pure state machine over the readings. It owns its state and nothing else: no goroutine, lock, log,
// clock or allocation per reading. It is not safe for concurrent use. Changes are told in the order of the scans, within a scan in the
// order of the elements, and depend on the readings alone: how they were cut into frames changes nothing.
//
// Words are those of IEC 60255: an element picks up at the pickup value, operates when its condition has lasted, drops off below
// pickup × drop-off ratio and is reset when nothing of the past counts any more. Each of its events is told as
//
//	state     input                                                → state     told
//	Cleared   the condition begins                                   Raised    Raised
//	Raised    the condition has lasted as set                        Operated  Operated
//	Raised    the element is reset                                   Cleared   Cleared
//	Operated  the element is reset                                   Cleared   Cleared
//
// at most once each; a condition that needs no time is Raised and Operated by one scan. Operated therefore stands until Cleared. What
// begins, lasts and resets is in the table beside each kind of element.
//
// # What counts
//
// Amperes are signed. An element watches the positive side, the negative side, or the magnitude; elements share no state, so a
// discharge never ripens the charge side's timer.
//
// A reading counts if it is good, or if it is at the rail (Saturated, OutOfRange) with a finite value: the true current is then at
// least that, and a short circuit that drives the converter into its limit must operate the guard. One that lacks the supply or
// temperature to be corrected by counts too, as it stands: a broken thermometer must not make the guard blind. Every other reading is
// skipped: it is not evidence of a low current, so it resets no timer and no count of consecutive scans, and advances none.
//
// # Time
//
// Intervals come from the device's monotonic time and are compared within one epoch. The time since the last reading that counted is
// credited at the current of the next one, whatever was skipped between. The scan at which a reset element picks up is its t = 0.
//
// One interval is credited with at most 1 s, or 10 nominal periods if that is longer (the period of a regular clock; of an irregular
// one, the lesser of the two intervals before). Beyond that nothing is known of the current, and an hour without readings must neither operate an element
// nor reset it. Time that repeats or runs backwards, and the step from one epoch to the next, credit nothing; timers keep their state.
package guard

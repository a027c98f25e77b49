// Package score holds a configuration's charge against a truth: how far the balance of each channel is off, and whether the uncertainty
// it states is right.
//
// A Plan takes a configuration and names the truth, an input in amperes or a channel, which is taken as exact. It makes the scored
// conductor several times over, each time with another way to find the offset, and takes them all through the same scans in one pass:
//
//	              ┌─▶ truth ──────────────────────────┐
//	devices ──────┼─▶ conductor, its own estimator ───┤
//	              ├─▶ conductor, fixedzero ───────────┼─▶ judge
//	              └─▶ conductor, uncompensated ───────┘
//
// Everything is offline and in lockstep, so the same input gives the same figures to the last bit. Run starts the plugins as processes, as
// daemon.Process does. A Seeded plan is for devices that are simulated: it runs driver and estimators in the caller's process, which gives
// the same bits, and again and again with other seeds. A Study of many seeds draws the sensors as well: of each error that the configuration
// states (offset, drift, gain, hysteresis) it takes the figure for a size, N(0, size²), since only over many sensors of a make can it be seen
// whether what was believed of the make beforehand is right.
//
// At each end of a summary of the truth's device stands a checkpoint: balance (net, out of the pack less into it, with what was learned
// later) less true charge, beside the standard uncertainty and the 95 % interval the pipeline states there. A channel whose newest
// reading is not as new as that of the truth has no checkpoint there. Only channels on the truth's device are scored: others are not read
// at the same instants. Charge is in coulombs, positive out of the pack; offsets are in amperes, in the sign of the readings.
//
// A run's memory is bounded: figures are gathered as they come, and a trace is thinned out to every second point when it is full. A Plan and
// a Seeded may be used by several goroutines at once. Study starts as many goroutines as there are processors to be used; all have ended
// when it returns. Its result is the same however many there are. Run starts none but those of daemon/pipeline.
package score

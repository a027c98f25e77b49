// Package scan holds the batches that flow through the daemon: raw scans in, readings out.
//
// A scan is all inputs of a device at one instant. A Frame is consecutive scans of one device as columns; Readings are what the
// stages make of one column for one channel. Types only: no I/O, no clock, no goroutine. A batch is owned by one stage at a time
// and is not safe for concurrent use; what is read from a Clock or a Frame may be shared once it is no longer written.
//
// Currents are in amperes, times in nanoseconds. Monotonic time is the device's own and only differences of it mean anything;
// wall-clock time is a label that nothing is computed from.
package scan

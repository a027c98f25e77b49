// Package polling takes scans of a device at a rate and says when each was read: what drivers have in common that ask their device.
//
// Times are in nanoseconds of CLOCK_BOOTTIME, which goes on while the machine sleeps and does not follow the wall clock. A scan is read
// in a span of time and stands at its middle; that it may have been taken anywhere in it is the uncertainty of its time, of which a frame states
// the largest of its scans.
//
// A Poller belongs to one goroutine and starts none. It allocates nothing per scan once its frame has grown.
package polling

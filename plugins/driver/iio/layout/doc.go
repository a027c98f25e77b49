// Package layout is the binary form of the scans in a buffer of Linux' industrial I/O: what a storage type says, where each enabled channel
// lies in a scan, and how it is read there. Source: the kernel's Documentation/iio/iio_devbuf.rst and Documentation/ABI/testing/sysfs-bus-iio.
//
// Pure computation on the caller's memory: no I/O, no goroutine, no allocation in decoding. A Field may be read concurrently once arranged.
package layout

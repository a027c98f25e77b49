// Package recorded is the form of a recording that the daemon makes of a device: a Parquet file, one row a scan.
//
//	column                type, encoding          holds
//	scan_sequence         INT64, delta            the device's sequence: rises from row to row, a jump states that scans are missing there
//	scan_monotonic_nanos  INT64, delta            the device's own time in ns; only differences within an epoch mean anything
//	scan_wall_nanos       INT64 timestamp, delta  wall-clock time in ns since 1970-01-01 UTC, a label
//	scan_epoch            INT64, delta            counts the device's time bases
//	scan_flags            INT32, delta            faults of the whole scan that the daemon saw, bits of ampledger.v1.Quality; for people,
//	                                              a replay finds them again
//	scan_time_uncertainty_nanos  INT64, delta     standard uncertainty of the scan's monotonic time in ns; 0 = none that matters. Older recordings
//	                                              have no such column
//	one an input          INT32 delta, or DOUBLE  the value as the driver gave it, in the input's unit, under the input's name: whole
//	                      plain; may be null      numbers for codes; null where the input had none in this scan
//
// Readings that the daemon made of a channel are recorded in the same form: the device is then CONDUCTOR/CHANNEL, the inputs are amperes
// and what belongs to them, and the flags are the quality of the reading.
//
// The columns stand in this order, the inputs in the device's. All are compressed with Snappy. The file's key-value metadata has Key, whose
// text is that of Head: the device's name and what its driver said of the inputs. Sequences and times are those of the daemon, so
// files of one device follow on each other.
//
// There is no I/O and no goroutine here; a Head that is not changed may be used concurrently.
package recorded

// Package rig is a device that is fed: a hardware-in-the-loop rig pushes its scans, with a clock and a numbering of its own.
//
// A Source stands between the two goroutines: the device's, which asks it for frames, and the rig's, which has a Seat and hands them over, one at
// a time. A frame is handed over when the device takes it, and is through when the device asks for the next one; only then does Hand return. So
// there is no queue, and a rig that is too fast waits. One rig has the seat; another is refused.
//
//	rig ─ Attach ─▶ Seat ─ Hand ─▶ Source ─ Next ─▶ pipeline.Device
//
// A session is one run of the rig's clock and numbering. Until another one comes, whoever takes the seat with it learns which sequence is expected
// next, and sequences that are left out are a gap; with another session another time base begins. A frame that is refused changes nothing.
//
// Live, a rig that breaks off interrupts the device, which is told. In lockstep nothing comes of the host's time: not the label of a scan, not
// a silence, not that the rig was away; the same scans give the same readings.
//
// The settings, under `with:`
//
//	mode        live (default) or lockstep
//	rate_hertz  scans a second, nominally; not said = not known or irregular
//	inputs      the columns of a frame, in this order:
//	  name            unique within the device
//	  unit            code, V, A, Cel or 1 (default)
//	  minimum_code    for codes: the converter's limits, where a reading is saturated; both or neither
//	  maximum_code
//	  volts_per_code  for codes: volts for each count; not said = the channel says it
//	  zero_code_volts for codes: volts at code zero
//	  averaging       true if a value is the mean over the interval that ends at its scan's time
//
// A Source is safe for concurrent use but for what pipeline.Source gives to the device's goroutine; a Seat belongs to one goroutine. No goroutine
// is started here.
package rig

// Package can is the driver for measuring modules on a CAN bus, live on an interface of Linux' SocketCAN or from a log of one.
//
// Its settings:
//
//	interface   name of the CAN interface, as in ip link: can0. With a log: play the lines of this one only (the only one in the log)
//	log         a log as candump of the open-source can-utils writes it (package wire), played instead; a relative path counts from the process's
//	            working directory, which the daemon sets to the folder of its configuration
//	scan_on     name of the signal whose message makes a scan (the first signal); see below
//	messages    list of what is on the bus; see below
//	speed, frame_scans, wall_start   of a log, as the driver replay has them; at speed 0 the log's own times are the wall clock's
//
// of a message:
//
//	identifier      required; 11 bits, or 29 if extended
//	extended        the identifier has 29 bits (false)
//	bytes           of data it has at the least: 1 to 8, or with CAN FD 12, 16, 20, 24, 32, 48, 64 (8)
//	byte_order      little or big, for all its fields that say nothing else
//	period_seconds  at which it is sent (not known); give it only if it is sent so, not on events
//	silent_seconds  how long it may not come before standard error says so (10 periods, or 5 s)
//	multiplexer     start_bit, length, byte_order of the number that says which of the multiplexed signals the message carries
//	counter         start_bit, length, byte_order of a number that goes up by one from frame to frame, and greatest, after which it is 0 again
//	                (the greatest in its bits)
//	checksum        start_bit, length, byte_order; algorithm, of package checksum; first_byte and last_byte of what it is of (all; its own bytes are
//	                left out); before and after: lists of bytes that count as if they stood there, such as a data identifier
//	signals         list
//
// and of a signal:
//
//	name           of the input, required
//	start_bit, length, byte_order   where it stands, as package bits draws it; required
//	type           unsigned, signed (two's complement) or float (IEEE 754, 32 or 64 bits); required
//	scale, offset  value = raw · scale + offset (1, 0)
//	unit           "code", "V", "A", "Cel" or "1" ("1"). Codes go out raw, of 31 bits at the most, 32 with a sign
//	averaging      true if a value is the mean over the interval before it, as a module that integrates gives; false if it is a sample (false)
//	multiplex      the multiplexer's number with which the message carries it (in every one)
//	least_raw, greatest_raw   raw numbers that are one; others mean that there is no value, as all ones often do (all)
//	hold_seconds   how long a value stands for scans to which none came anew (0: it is given once); not for amperes
//	volts_per_code, zero_code_volts   for codes only (not known, 0); with least_raw and greatest_raw their range is known as well
//
// No two parts of a message that may come together have bits in common.
//
// A module that gives its current in mA, with a counter and a checksum, and its temperature in another message:
//
//	interface: can0
//	messages:
//	  - identifier: 0x1A0
//	    bytes: 6
//	    byte_order: big
//	    period_seconds: 0.01
//	    counter: {start_bit: 39, length: 8, greatest: 14}
//	    checksum: {start_bit: 47, length: 8, algorithm: crc8-autosar, before: [0x5A]}
//	    signals: [{name: pack_amperes, start_bit: 7, length: 32, type: signed, scale: 0.001, unit: A, averaging: true}]
//	  - identifier: 0x18FFA1E5
//	    extended: true
//	    byte_order: big
//	    signals: [{name: shunt_celsius, start_bit: 7, length: 16, type: signed, scale: 0.1, unit: Cel, hold_seconds: 2.5}]
//
// # Scans
//
// What is sent on a bus comes at no common instant. The frames of one message, that of scan_on, make the scans: each frame is a scan, at the
// frame's time. It should be the message of the current that is counted. Every other signal is in the scan with its newest value, once: the next scan has it
// only if it came anew, or is not older than hold_seconds, and else it is absent. So a temperature that is sent once a second holds for
// scans at 100 Hz if it says hold_seconds: 2.5, and a current is never a reading given twice. A second current that is sent at its own
// pace belongs to a device of its own, with its own scan_on; here it would stand at times up to a scan later than its own. If the signal of scan_on is
// multiplexed, only frames that carry it are scans.
//
// # What is lost or wrong
//
// A frame that is shorter than described, whose checksum does not fit or whose counter stands still or is above its greatest has no values: its scan has
// none, and the values of another message are absent from then on until the next good frame. A counter that went on by more than one states how many frames
// were lost, and the sequence jumps by as many. It tells them up to whole rounds; with period_seconds the time tells the rounds as well, and
// where it has no room for as many as a counter says that was set back, as after a restart of the module, the time alone tells. Without a counter,
// period_seconds tells it: a step of one and a half periods or more states that the whole periods but one were lost. Without either, the time between two scans
// is all there is to see, and gap_seconds of the daemon's device the limit. For a multiplexed scan_on nobody can say which of the lost frames were
// scans: the sequence then jumps by one. So it does where the kernel or the controller had no room for frames and nothing tells whose they were; where
// the only message there is has neither counter nor period, it jumps by the kernel's count.
//
// A message that does not come gives no values, and no scans if it makes them. Standard error says it after silent_seconds, and when it
// comes again; other troubles are said when they begin, then with their count at most each 10 s, and at the end.
//
// # Time
//
// Live, a frame has the time at which the kernel received it. The kernel stamps by the wall clock; the time is moved to CLOCK_BOOTTIME by what
// the two are apart when the frame is read, some hundred microseconds later at most in a machine with leisure. If the wall clock was set between the two, which
// shows as a time outside the span in which the frame must have come, the frame has the time of its reading, and standard error says so. So have, without a word,
// the frames of the first moments, in which the kernel does not yet stamp. An adapter's own time stamps are not used: their clock is
// not told. The delay on the bus, below a millisecond as a rule, is in the time, and so is the module's own.
//
// From a log, times go out as they stand there: repeated ones and those that run backwards are the daemon's to flag. A line that cannot be read
// ends the stream with its line and column, after the scans before it have gone out.
//
// The driver only listens: a module that must be asked is not read. An interface that goes down ends the stream with an error. Remote
// frames ask for data and have none; error frames are said, not given.
// Raw numbers of more than 53 bits are rounded to the nearest double.
//
// Memory is bounded by the messages described. A Driver is used as plugin.Driver says and starts no goroutine. Nothing allocates per frame.
package can

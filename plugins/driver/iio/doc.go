// Package iio is the driver for analog inputs of Linux' industrial I/O: converters, current and temperature sensors that the kernel drives; and for
// its hardware monitors.
//
// It speaks the kernel's interface (Documentation/ABI/testing/sysfs-bus-iio, Documentation/iio/iio_devbuf.rst, for monitors
// Documentation/ABI/testing/sysfs-class-hwmon) and needs no library. Its settings:
//
//	class          iio, or hwmon = hardware monitors (iio)
//	device         the N of iio:deviceN or hwmonN, or the text of the device's attribute name or label; required. The kernel may number
//	               devices otherwise at the next start, so prefer a text
//	mode           polled = each scan reads the attributes; buffered = the kernel collects the scans; required
//	inputs         list of channels to give (all there are, by their labels or names); see below
//	rate_hertz     of polling, required there, 0.001 to 10000. Buffered, it is written to the device's sampling_frequency if there is one, which
//	               must then be within 1 % of it; required where there is none, as without a rate nobody can tell that scans were lost
//	buffer_scans   the buffer's length, 2 to 32768, a power of two (1024); buffered only
//	watermark      scans worth waking the driver for (as many as come in 50 ms, at most half the buffer); buffered only. None waits longer
//	               than 100 ms
//	trigger        name of the trigger that starts each scan, for devices that need one (as it is); buffered only
//	clock          of the device's time stamps (boottime), see below; buffered only
//	sysfs, dev     folders of the devices (/sys/bus/iio/devices or /sys/class/hwmon, /dev). Where several monitors have one name, the folder
//	               hwmon of the device that has the monitor, as in /sys/bus/i2c/devices/1-0040/hwmon, holds that one alone
//
// and of an input:
//
//	channel   as in in_CHANNEL_raw or in_CHANNEL_input: voltage0, voltage0-voltage1, current1, temp; of a monitor as in CHANNEL_input: curr1, in0, temp1
//	label     the text of in_CHANNEL_label or CHANNEL_label, instead of the channel
//	name      of the input (the label, or the channel)
//
// A channel of volts with a raw value is given in codes as they are, with the attribute scale (millivolts by the ABI) as volts_per_code and
// scale times offset as zero_code_volts; where there is no scale, neither is known, and the configuration must say it. The range of the codes is
// known from the storage type, buffered. Unsigned codes of 32 bits are given less 2^31, and zero_code_volts says so. Codes of more than 32 bits,
// raw currents (without a scale: milliamperes, by the ABI), raw temperatures and processed values (…_input) are given in V, A and Cel. Scale and
// offset are read once, before the first scan.
//
// Polled, a scan has the time in the middle of its reading, uncertain by how long that took, and inputs are read one after the other, not at one instant. A poll that was
// missed is a jump of the sequence; what could not be read for the moment (busy, timed out, input/output error, no data) is an absent value, and
// standard error says it when it begins. Anything else ends the stream.
//
// A monitor is always polled; its volts are those at its pin. A value is absent as long as the sensor's attribute _fault, where it has one, is not
// 0. Where there is an update_interval, polling faster than that is refused, as values would repeat; a monitor without one may hold a value
// for some time, and nothing says so. A value is up to one such interval older than its reading, which is no part of the uncertainty of its
// time. Whether it is a mean over that interval is the chip's doing and not said; it goes out as a sample.
//
// Buffered, only the first buffer is used (buffer0, or buffer and scan_elements). An element that repeats gives its first word. The time of a
// scan is its time stamp if the device has that channel, and the clock is set to boottime, which goes on while the machine sleeps. The setting
// clock may name another one the device must then have (monotonic stands still in sleep, realtime and tai follow the wall clock, and kernels without
// the choice have realtime), or read: no time stamps. A step of the time stamps of one and a half nominal intervals or more states that
// the whole intervals but one were lost. Without time stamps, scans that came in one reading are put evenly between the reading before
// and this one, by CLOCK_BOOTTIME; scans are lost if a full buffer holds fewer than that time has room for, or if more than two and
// a twentieth are missing, as after a sleep. Stamps are taken as they are, those that run backwards are the daemon's to flag; only if the first
// is more than 30 s off boottime, though the device says it has that clock, the stream ends. A device that stops giving scans without an error, as
// one whose trigger does not come, is silent, not at fault.
//
// What was set in sysfs is set back when the stream ends, in reverse, but a buffer that was found running without a reader is left stopped. A
// process that is killed sets nothing back, and its successor takes what it finds for what was there before.
//
// Memory is bounded by the buffer. A Driver is used as plugin.Driver says and starts no goroutine. It works on Linux only.
package iio

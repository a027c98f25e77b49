// Package modbus is the driver for meters and converters that answer Modbus, over TCP or a serial line (RTU).
//
// It follows the MODBUS Application Protocol Specification V1.1b3 and MODBUS over Serial Line V1.02 (package wire). Its settings, of which tcp or
// serial is needed:
//
//	tcp              HOST or HOST:PORT (502) of the server or gateway
//	serial           the line: device (/dev/ttyUSB0), bits_per_second (19200), parity (even, odd or none), stop_bits (1; without parity 2)
//	rate_hertz       of polling, 0.001 to 1000; required
//	timeout_seconds  how long an answer may take, 0.001 to 5 (0.5)
//	reads            list of requests, made one after the other in each scan; required
//
// of a read, which asks for the registers from the first to the last of its inputs, those between included, 125 at most:
//
//	server     address of the server on the line, 1 to 247; over TCP the unit identifier, 0 to 255 (1)
//	registers  holding or input; required
//	inputs     list of what is read; required
//
// and of an input:
//
//	name       required
//	address    of its first register as it is sent, 0 to 65535 (what a manual calls 40001 is holding register 0); required
//	type       int16, uint16, int32, uint32, int64, float32 or float64; required
//	order      of its bytes: abcd, cdab, badc or dcba (abcd); see package register
//	unit       V, A, Cel or 1, or code for the counts of a converter (int16, uint16 or int32); required
//	scale      what one count is in that unit, not 0 (1); of a code, its volts (not known)
//	averaging  true = a value is the mean over the interval before it, false = a sample; required, for only the meter's manual knows
//	plausible  [least, greatest] that the first value may be, in the input's unit (anything); then one that is not 0 and less than 1e-12 of
//	           the greater is not plausible either, as floats in the wrong order are
//
// A scan has the time in the middle between its first request and its last answer, as measured, and how far these are apart is the
// uncertainty of its time. A server may have sampled its registers at
// any time between, and earlier if it renews them more slowly than it is asked: then choose a rate that it keeps up with.
//
// An answer counts if it is whole, alone and the server's that was asked. An exception leaves the inputs of its read absent in the scan. After any other failure the connection is closed and opened anew, so that
// the late answer to one request is never taken for that to the next; a serial line, whose answers have no number, stays closed for
// another timeout. A TCP connection that the server has closed meanwhile is opened again within the same poll. A server that fails again
// is left alone for a time that doubles from half a second to ten, less a random part up to half, while the others are
// asked on; a line that cannot be opened likewise. A scan in which no read was answered is a jump of the sequence; no value is ever given twice.
// Standard error says when a read begins to fail, and why, and when it is answered again. The stream ends if nothing could be read for
// 30 s, or 3 s where there never was anything, if there is no right to the serial device, and if the first value of an input is not plausible.
//
// A value that is NaN or infinite is given as it is. Memory is bounded by the reads. A Driver is used as plugin.Driver says and
// starts no goroutine. It works on Linux only. The end of the context is noticed between two requests, so a timeout of a second or more may
// have the process ended instead.
package modbus

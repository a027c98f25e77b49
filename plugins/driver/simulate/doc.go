// Package simulate is the driver that makes up a battery pack: a true current, and what a shunt and a magnetic channel read of it.
//
// The current follows a duty, a list of segments; positive current is discharge. Its settings:
//
//	seed              of all chance (0)
//	rate_hertz        scans per second, required; the time between them is the nearest whole number of nanoseconds
//	duration_seconds  after which the source ends; 0 = never (0)
//	duty              list of segments in their order (none); after the last no current flows, or with
//	repeat            true they begin again (false)
//	temperature       {mean_celsius (25), swing_kelvin (0), period_seconds (86400)}: of all sensors, a sine
//	shunt, magnetic   the sensors there are (none), see below
//	speed             seconds of the simulation in one second (1); 0 = as fast as possible
//	frame_scans       scans in a frame at most (1000, and cut so that at a speed no scan is held back for more than 100 ms)
//	wall_start        wall-clock time of the first scan, RFC 3339 (now; at speed 0, 1970-01-01T00:00:00Z)
//
// A segment lasts seconds and is one of
//
//	{hold_amperes, seconds}
//	{from_amperes, to_amperes, seconds}                              a straight ramp
//	{mean_amperes (0), amplitude_amperes, period_seconds, seconds}   a sine that begins at its mean, upwards
//	{file, column, time_column, scale (1), seconds}                  a recording from its first row on, straight between rows, as
//	                                                                 package table reads it; it lasts as long as its rows if
//	                                                                 seconds does not cut it; a repeated time is a step
//
// With contactor_open: true the current is 0 whatever else a segment says, and it need not say more than its seconds.
//
// A shunt has resistance_ohms, gain (1), temperature_coefficient_per_kelvin (0), reference_celsius (20). A magnetic channel has
// volts_per_ampere, zero_volts (0), offset_amperes_per_kelvin (0), reference_celsius (25), minimum_volts and maximum_volts (no
// limits) between which its output stays. Both have bits, signed (true), volts_per_code, zero_code_volts (0) of their converter,
// and noise_amperes (0, standard deviation of a scan), offset_amperes (0), gain_error_ratio (0); amperes of error are those of a
// reading that is converted with the nominal figures and the temperature.
//
// Inputs, in this order: shunt_code and shunt_celsius, magnetic_code and magnetic_celsius, as far as there is such a sensor, then
// true_amperes and contactor_open (1 = open). Codes are rounded to the nearest; beyond the converter's range stands the limit.
//
// The true current, the temperature and the state of the contactor are functions of the scan's number alone. Each sensor draws its
// noise from a stream of its own, as much for every scan, so neither the other sensors nor the cutting of frames change it: the
// same settings give the same scans to the last bit. A Driver is used as plugin.Driver says and starts no goroutine.
package simulate

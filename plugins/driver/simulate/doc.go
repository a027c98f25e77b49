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
//	faults            list of what fails and when (none), see below
//	truth             true gives two inputs more (false), see below
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
//	{levels_file, capacity_ampere_hours, profile, seconds,           a duty of stored charge: over each interval between two rows the
//	 rest_when_unchanged (false)}                                    current, held, that leads from one level to the next
//
// With contactor_open: true the current is 0 whatever else a segment says, and it need not say more than its seconds; what flows all
// the same, and the input does not tell, is its standing_amperes (0).
//
// A file of levels has the columns time_s and level, the stored charge as a share of the capacity, and profile if one is named. A rising
// level is charge, so a current below zero. Longer than the file lasts, it begins again; shorter, it is cut. With rest_when_unchanged the
// contactor is open over an interval whose level stays. For many days, say so in seconds or let the duty repeat.
//
// A shunt has resistance_ohms, gain (1), temperature_coefficient_per_kelvin (0), reference_celsius (20). A magnetic channel has
// volts_per_ampere, zero_volts (0), offset_amperes_per_kelvin (0), reference_celsius (25), minimum_volts and maximum_volts (no
// limits) between which its output stays. Both have bits, signed (true), volts_per_code, zero_code_volts (0) of their converter,
// and noise_amperes (0, standard deviation of a scan), offset_amperes (0), gain_error_ratio (0); amperes of error are those of a
// reading that is converted with the nominal figures and the temperature. Further errors, each 0 or none if left out:
//
//	walk_amperes_per_root_hour         of both: density of a random walk of the offset
//	gain_drift_per_year                of both: growth of the gain error in 365 days
//	body         lag_seconds behind the ambient temperature and the heating; kelvin_per_watt (shunt, of the power in its nominal
//	             resistance) or kelvin_per_square_ampere (magnetic): one thermal node
//	thermometer  what the temperature input says of the body: lag_seconds, noise_kelvin, quantum_kelvin, offset_kelvin
//	thermal_emf  of the shunt: volts_per_kelvin of difference between its ends, whose steady value is kelvin_per_watt times the
//	             power, lag_seconds late; above zero it reads as discharge whichever way the current flows
//	offset_amperes_per_squared_kelvin  of the magnetic channel, beside the straight one
//	supply       of the magnetic channel makes its output a share of a supply, and gives the input supply_volts: nominal_volts (5),
//	             offset_volts, drift_volts (standard deviation) over drift_seconds (3600), ripple_volts of scan to scan, which the
//	             output follows as it does the drift, and noise_volts, which only the input has
//	hysteresis   of the magnetic channel, driven by the true current
//
// The hysteresis is one of
//
//	{model: play, operators: [{half_width_amperes, weight_amperes}]}     the sum of weight·z, see physics.Operator: what stays after
//	                                                                     an excursion upwards is MINUS the weights
//	{model: play, remanence_amperes, full_scale_amperes}                 four operators that leave the remanence, with its sign, after
//	                                                                     an excursion to plus full scale
//	{model: jiles-atherton, full_scale_amperes, remanence_amperes,       see physics.Material; k may be given instead of the coercive
//	 coercive_share (0.01), ms_amperes_per_meter (4e5),                  share (the current that takes the magnetisation from plus
//	 a_amperes_per_meter (a tenth of the field at full scale),           full scale back through zero, as a share of full scale), and
//	 k_amperes_per_meter, c (0.1), alpha (a/Ms), path_meters (0.1),      scale_meters, amperes of reading for one A/m that lags, instead
//	 scale_meters}                                                       of the remanence
//
// A fault {kind, from_seconds (0), seconds (one scan)} comes once, or again every_seconds, or at random with rate_per_hour, the mean
// rate in the pauses. It acts on the scans from from_seconds on and before from_seconds + seconds. Kinds:
//
//	dropout          the input has no value
//	stuck            the input repeats the value before
//	open_sense_lead  the code input stands at a rail of its converter, upper or lower (upper), or walks within wander_codes (0) of it
//	missing_supply   the output behind the code input is 0 V, and so is the supply if there is one
//	spike            amperes are added to what the code input reads
//	false_contactor  contactor_open says the contrary
//	scans_lost       the sequence jumps
//	time_repeated    the scans have the time of the last one before
//
// The first five name their input. Any of shunt_code, shunt_celsius, magnetic_code, magnetic_celsius, supply_volts and contactor_open
// can drop out or be stuck.
//
// Inputs, in this order: shunt_code and shunt_celsius, magnetic_code and magnetic_celsius, as far as there is such a sensor, supply_volts
// if there is a supply, then true_amperes and contactor_open (1 = open), and with truth shunt_true_offset_amperes and
// magnetic_true_offset_amperes: what a perfect estimator would subtract, see package physics. Codes are rounded to the nearest; beyond
// the converter's range stands the limit.
//
// The same settings give the same scans to the last bit, however the frames are cut: see package physics, which does the computing and
// serves without a daemon as well (NewRig). Each sensor, error and fault has a stream of chance of its own, so none changes another. A
// Driver is used as plugin.Driver says and starts no goroutine.
package simulate

// Package replay is the driver that plays a recording as if it were a device.
//
// A recording is a table as package table reads it: one row a scan, one column its time in seconds, the other columns inputs. Its
// settings:
//
//	file          the recording; a relative path counts from the process's working directory, which the daemon sets to the
//	              folder of its configuration
//	time_column   the column of the time (the first, whatever its name)
//	where         {column: text, …}: only rows whose cells have these texts
//	from_seconds  only rows at or after this time of the recording (all)
//	to_seconds    only rows at or before it (all)
//	inputs        list of columns to give (every other column that holds numbers, by its own name, in unit "1"); see below
//	speed         seconds of the recording in one second (1); 0 = as fast as possible
//	frame_scans   scans in a frame at most (1000, and cut so that at a speed no scan is held back for more than 100 ms)
//	wall_start    wall-clock time of the first scan, RFC 3339 (now; at speed 0 the recording's time counted from 1970, so that
//	              the same recording gives the same frames to the last bit)
//
// and of an input:
//
//	name             of the input, required
//	column           it comes from (its name)
//	scale, offset    value = cell · scale + offset (1, 0)
//	unit             "code", "V", "A", "Cel" or "1" ("1")
//	averaging        true if a value is the mean over the interval before it (false)
//	bits, signed     the converter's width and whether its codes have a sign (not known, true), for codes only
//	volts_per_code   volts for each count (not known), for codes only
//	zero_code_volts  volts at code zero (0), for codes only
//
// Times go out as they stand in the recording: gaps, repeated times and times that run backwards are the daemon's to flag and to
// count. An empty cell is an absent value. Codes are rounded to whole counts; one beyond the converter's range is given as the
// limit there, which the daemon flags as saturated, and a code that is not a number is absent. A row that cannot be read ends the
// stream with its line and column, after the scans before it have gone out.
//
// Memory is bounded whatever the size of the file: one line and one frame. A Driver is used as plugin.Driver says and starts no
// goroutine.
package replay

// Package replay is the driver that plays a recording as if it were a device.
//
// A recording is a table of comma-separated values as package table reads it, or Parquet as package columns reads it: one row a scan, one
// column its time in seconds, the other columns inputs. Its settings:
//
//	file          the recording; a relative path counts from the process's working directory, which the daemon sets to the
//	              folder of its configuration. Parquet by its ending .parquet; a folder (its *.parquet) or a pattern with * and ? means
//	              several such files, which play as one in the order of their names
//	time_column   the column of the time (the first, whatever its name)
//	where         {column: text, …}: only rows whose cells have these texts (CSV only)
//	from_seconds  only rows at or after this time of the recording (all)
//	to_seconds    only rows at or before it (all)
//	start_seconds only rows at or after the first one's time and this (0); not with from_seconds
//	loop          true = begin again at the end, without end (false)
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
// A recording that the daemon made (package recorded) plays as its device did, unless time_column says otherwise: the same inputs with the
// driver's description, values to the bit, times to the nanosecond. Sequences count from 0 at the first scan that goes out and jump where scans
// are missing in the recording. At speed 0 the wall-clock times are the recorded ones unless wall_start says otherwise. Where a new
// time base (epoch) begins in it, which no driver can say, times are shifted as a whole: they follow on the latest before them by as
// much as the recorded wall clock went on.
//
// The seam of a loop: the first scan goes out again one nominal interval after the latest time so far (a second, where there is no rate) with
// the next sequence, and the times of the round are shifted by as much. A stream that is repeated has no end, so it cannot be processed offline.
//
// Memory is bounded whatever the size of the file: one line or a page of each column, and one frame. A Driver is used as plugin.Driver says and starts no
// goroutine.
package replay

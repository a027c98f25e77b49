// Package table reads recordings: tables of comma-separated values whose columns have names.
//
//	recording = { line }                 the first line that is no comment and not blank is the header, the others are rows
//	line      = comment | blank | cells  ended by LF or CR LF, at most MaxLine bytes; a byte-order mark may come first
//	comment   = "#" …
//	cells     = cell { "," cell }        a row has as many as the header
//	cell      = text | '"' quoted '"'    blanks around a cell do not count; quoted text holds "" for one " and ends on its line
//
// A Reader holds one line in memory, whatever the size of the file, and allocates nothing for a row. Every fault is an *Error with
// the line and, where there is one, the column. It starts no goroutine and is not safe for concurrent use.
//
// Times are decimal seconds in the file and whole nanoseconds here, converted digit by digit: 0.1 is 100000000 ns exactly.
package table

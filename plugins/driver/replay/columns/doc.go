// Package columns reads recordings in Parquet, a batch of rows at a time, each column as a slice.
//
// A column of numbers is INT32, INT64, FLOAT or DOUBLE, required or optional; anything else (text, decimals, lists) is there by its name and
// cannot be read. A null is an absent value. A time is seconds in FLOAT or DOUBLE, whole seconds in an integer, or a TIMESTAMP, and comes
// out in whole nanoseconds: integers exactly, others to the nearest.
//
// A File reads its table of contents when it is opened; a Reader holds one page of each column it reads, whatever the size of the file, and what
// it gives lives in these pages until its next call. Whatever is wrong with a file is an error with the file's name and, where there is
// one, the row (counted from 1) and the column: the library that decodes pages may panic on a damaged file, and its panics end here.
//
// No goroutine is started. A File may be read by several Readers; a Reader is not safe for concurrent use.
package columns

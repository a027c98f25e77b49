// Package store keeps what must survive: the ledger of charge, the log of events, the sequences that must never be used twice and the
// estimators' snapshots. All of it is one SQLite file.
//
// # Contract
//
// A Store may be used by any number of goroutines. It starts none of its own. Writes follow one another on one connection; readers work
// beside them on a few others and each sees one committed state. Each method says what is durable when it returns; an error means that
// nothing of the call was stored. A done context ends a call before its commit, never halfway. One process at a time owns the file.
//
// Entries, gaps and events are only ever added: triggers in the file refuse every UPDATE and DELETE, and every insertion that would leave
// a hole or fill an old place, whichever program asks. Entry and log sequences count from 1 without a hole; 0 stands for none.
// Device sequences count from 0. Charge is in microcoulombs, times are in nanoseconds, wall-clock time since 1970-01-01 UTC. Sequences,
// counts and epochs are unsigned here and limited to what a signed 64-bit column holds.
//
// A Recorder stands between the data path and the disk. It has one goroutine, Run, which the caller starts. Its queue is bounded: a
// posting that finds it full is given back to the caller, an event is counted as unrecorded. Neither ever waits for the disk.
//
// # What is assumed of the disk, and what happens after a crash
//
// Journal mode WAL and synchronous FULL: a commit is one append to the log beside the file, then an fsync. It is assumed that fsync
// returns only when the data is on the medium, and that a written sector does not change unasked.
//
//  1. A new file is built under another name (….new), closed, renamed and its folder synced: a file of that name is always complete.
//     A leftover .new file is thrown away. So an empty file is damage, never a beginning.
//  2. When opening, SQLite takes every whole transaction out of the log and drops a torn one at its end.
//  3. If a log was found (the last owner did not close), every page is checked (quick_check). Else the file must have its full length.
//  4. The identity (application_id) and the version of the schema (user_version) are compared; older schemas are migrated in one transaction each.
//  5. Device sequences go on behind the highest one held or recorded, so none that may have been given out is used again.
//
// A commit that fails is rolled back and may be tried again: SQLite writes the next one over the failed one's place in the log, so
// what failed cannot come back beside it.
package store

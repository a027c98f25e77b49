// Package store keeps what must survive: the ledger of charge, the log of events with who has seen them, the records of commissioning, the sequences that must never be
// used twice, the estimators' snapshots and, as long as there is room, the readings around events. All of it is one SQLite file.
//
// # Contract
//
// A Store may be used by any number of goroutines, and so may a Reader, which opens the file beside a daemon or after it and writes nothing.
// Neither starts any of its own. Writes follow one another on one connection; readers work beside them on a few others and each sees one
// committed state. Each method says what is durable when it returns; an error means that nothing of the call was stored. A done context
// ends a call before its commit, never halfway. One process at a time owns the file.
//
// Entries, gaps, events, acknowledgements and records of commissioning are only ever added: triggers in the file refuse every UPDATE and DELETE, and every insertion that would leave
// a hole or fill an old place, whichever program asks. Entry and log sequences count from 1 without a hole; 0 stands for none.
// Device sequences count from 0. Charge is in microcoulombs, times are in nanoseconds, wall-clock time since 1970-01-01 UTC. Sequences,
// counts and epochs are unsigned here and limited to what a signed 64-bit column holds.
//
// A Recorder stands between the data path and the disk. It has one goroutine, Run, which the caller starts. Its queue is bounded: a
// posting that finds it full is given back to the caller, an event is counted as unrecorded. Neither ever waits for the disk.
//
// # The chain
//
// Each entry carries a SHA-256 (FIPS 180-4) in its column chain, so that whoever changes, removes, puts in or moves a row has to rewrite all
// that follows, and whoever wrote the newest one down elsewhere sees it. Anybody can compute it from the file:
//
//  1. chain = SHA-256(chain of the entry before ‖ row of the entry ‖ rows of its gaps by position). Before the first entry stand 32 zero bytes.
//  2. A row is one byte for the table ('E' = entries, 'G' = gaps), one byte for the number of its values, and the values.
//  3. Its values are its columns in the order of the table, less the column chain and those that are NULL. So a column that a later schema
//     adds changes nothing in older rows.
//  4. A value is one byte for the column's number, from 0 as PRAGMA table_info counts, and then, big-endian throughout,
//     'I' and 8 bytes of two's complement for an INTEGER, 'R' and the 8 bytes of the IEEE 754 double for a REAL,
//     'T', the length in bytes as 8 bytes and UTF-8 for a TEXT, 'B', the length as 8 bytes and the bytes for a BLOB.
//
// An entry of kind "commissioning" names the record of a change and its SHA-256, and each record holds the SHA-256 of those that it names. So the chain
// covers records that were ever in force and all that they rest on: zeros, points, calibrations. It does not cover those that no change came of.
//
// Verify does that and more. Neither it nor anybody can see from the file alone that its end was cut off or written anew, chain included:
// hold a Head that a statement gave against the chain at that entry.
//
// # Waveforms
//
// A waveform is the readings around an event's onset, in the frames in which they were streamed; a frame stands once, however many waveforms
// reach over it. Waveforms are what may be dropped: DropWaveform takes one that is beyond what they may take, in age or in bytes, those of
// acknowledged events first, each kind the oldest first. Its event stays, and so does a row that says which readings there were, when
// they were dropped and why; who drops tells it by an event of kind "storage". Events are never deleted, nor is an
// acknowledgement, which is said once of an event and stands. Frames are refused (ErrNoRoom) before they take the last 16 MB of a disk,
// which are the ledger's.
//
// Triggers count the frames and their bytes. Verify holds the frames against that and against the waveforms: readings that are gone though
// nobody dropped them are a fault of their waveform (Verification.WaveformFaultCount). The chain does not cover them, as it does not cover events.
// A hole inside a waveform passes if the ledger counts as many readings lost there.
//
// # What is assumed of the disk, and what happens after a crash
//
// Journal mode WAL and synchronous FULL: a commit is one append to the log beside the file, then an fsync; WAL, because that is one fsync a
// commit where a rollback journal takes several, and because readers need not wait; FULL, because with NORMAL a power cut takes the newest
// commits away. It is assumed that fsync returns only when the data is on the medium, and that a written sector does not change unasked.
//
//  1. Durable is what a call returned nil for; of what goes through a Recorder, what OnPosted, OnRecorded, Held or Flush have told.
//  2. The order is store, publish, acknowledge: who is told that an entry or a change is recorded is told after the commit. What goes out
//     before (the RAISED of an event, a statement of what was counted up to now) says of itself that it may not be on disk.
//  3. A power cut, a crash or a kill costs what had not been committed: the entries since the newest commit, that is one posting interval and
//     what the queue held while the disk failed. What was lost so is the next run's gap: time, bound and all. It never costs a part of a
//     transaction, an entry without its gaps, or something that was acknowledged.
//  4. A new file is built under another name (….new), closed, renamed and its folder synced: a file of that name is always complete.
//     A leftover .new file is thrown away. So an empty file is damage, never a beginning.
//  5. When opening, SQLite takes every whole transaction out of the log and drops a torn one at its end.
//  6. If a log was found (the last owner did not close), every page is checked (quick_check). Else the file must have its full length, and
//     the pages of all tables are checked but those of waveforms: about 3 ms for a megabyte of ledger.
//  7. The identity (application_id) and the version of the schema (user_version) are compared; older schemas are migrated in one transaction each.
//  8. Device sequences go on behind the highest one held or recorded, so none that may have been given out is used again.
//  9. A file that is found damaged is refused and left as it is, its log beside it; Recover makes a new one of what can be read. A page of
//     waveforms that is found damaged later fails what needs it and names Recover as the remedy; the ledger goes on.
//
// A commit that fails, be it in writing or in fsync, is rolled back and may be tried again: SQLite writes the next one over the failed
// one's place in the log, so what failed cannot come back beside it, and pages that a failed fsync dropped are written once more. Only if
// the process dies after a failed fsync and before the next commit may the failed one be found when opening, all of it: then it counts, and
// nobody posts it again, since who would have is gone.
package store

// Package recording writes what a device gave, raw, to Parquet files that driver replay plays again bit for bit.
//
// A Recorder has one Track a device. The data path hands each frame to its Track, which copies the scans into a block of columns under a lock
// that is held for no longer than such a copy and never over I/O; full blocks wait for Run, the one goroutine, which is the caller's.
// Memory is bounded: RowGroupScans in each of QueuedRowGroups blocks and in the one being filled, a device. A scan for which there is no room is
// counted, told (OnLost) and missing from the sequences of the recording, so a replay shows it as lost. Once blocks have grown to
// their size, a scan costs no allocation.
//
// Every RowGroup seconds, and whenever a block is full, Run appends a row group to the device's file and syncs it. What has been synced
// survives a kill and a power cut; what lies in memory, RowGroup seconds at most, does not. The columns are described in package recorded.
//
// One file holds all inputs of one device, whichever conductors use them: that is what can be replayed, and from it the same pipeline makes the
// same readings again. What the pipeline made of a channel is recorded, if somebody wants it, in files of its own (Readings).
//
// # Files
//
// A file is named DEVICE_SEQUENCE_TIME.parquet after its first scan, so that names of one device sort by time; it has ".part" behind its
// name until it is complete. It is complete after RotateAfter or RotateBytes, when the device describes itself otherwise or when Run ends.
// Whenever files together exceed BudgetBytes, complete ones are removed, oldest first, and told (OnRemoved); a file that is being
// written is not. Other files in the folder are left alone.
//
// # A cut anywhere
//
// Parquet's table of contents comes last, so a file that is cut off is unreadable to everybody. This package therefore writes
//
//	file    = "PAR1" { segment } footer length(footer) "PAR1"        the footer only when the file is complete
//	segment = "ALRG" checksum(body) length(body) body                a row group: 4, 4 and 8 bytes, little endian
//	body    = "PAR1" row-group footer length(footer) "PAR1"          a whole Parquet file of its own
//
// where the checksum is CRC-32C. The last footer names the row groups of all bodies where they stand; Parquet addresses columns from the
// file's beginning, so what lies between row groups does not concern a reader. Bytes are only appended and never overwritten.
// Recovery (Run does it at its start for each file with ".part", Recover for one file):
//
//  1. Read segments from the beginning while marker, length and checksum are right. A segment is synced as a whole, so what is not
//     right was never promised.
//  2. If there was none, there is nothing to save: the file is removed.
//  3. Cut the file behind the last, append the footer that names them, sync, rename, sync the folder.
//
// A kill during recovery leaves a file that is recovered again. The assumptions: a synced byte stays, a rename is atomic.
package recording

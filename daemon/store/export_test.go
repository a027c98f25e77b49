package store

import "database/sql"

// Writer lets tests break what the store would not.
func (s *Store) Writer() *sql.DB { return s.writer }

// Room says how much is free on the disk.
func (s *Store) Room() (bytes uint64, err error) { return s.room() }

// SetRoom lets tests say how much is free on the disk.
func (s *Store) SetRoom(room func() (bytes uint64, err error)) { s.room = room }

// Readers lets tests look at what readers may do.
func (r *Reader) Readers() *sql.DB { return r.readers }

// NewestSchema is the version of the schema that this program writes.
var NewestSchema = len(migrations)

// EntryColumns and GapColumns are the columns that are chained, by number.
var EntryColumns, GapColumns = entryColumns, gapColumns

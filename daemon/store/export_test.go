package store

import "database/sql"

// Writer lets tests break what the store would not.
func (s *Store) Writer() *sql.DB { return s.writer }

// Readers lets tests look at what readers may do.
func (s *Store) Readers() *sql.DB { return s.readers }

// NewestSchema is the version of the schema that this program writes.
var NewestSchema = len(migrations)

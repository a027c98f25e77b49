package store

import "fmt"

// ledgerRoom is how many bytes waveforms leave free on the disk, since they grow faster than all else and would take the last from the ledger:
// SQLite's log takes 4 MB before it is moved into the file, and four channels' entries of a minute take 1.5 MB a day.
const ledgerRoom = 16 << 20

// leaveRoom refuses frames that would take the ledger's room.
func (s *Store) leaveRoom(parts []WaveformPart) error {
	bytes := uint64(0)
	for i := range parts {
		for _, f := range parts[i].Frames {
			bytes += uint64(len(f.Encoded))
		}
	}
	if bytes == 0 {
		return nil
	}
	return s.Spare(bytes)
}

// Spare refuses what would take the ledger's room on the disk: ErrNoRoom.
func (s *Store) Spare(bytes uint64) error {
	if free, err := s.room(); err == nil && free < ledgerRoom+bytes {
		return fmt.Errorf("%w: %d bytes are free on the disk, %d are left to the ledger", ErrNoRoom, free, ledgerRoom)
	}
	return nil
}

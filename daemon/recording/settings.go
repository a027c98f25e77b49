package recording

import (
	"errors"
	"fmt"
	"time"
)

// Settings bound a Recorder. What is 0 takes its default.
type Settings struct {
	Folder string // where the files are; made if it is not there

	RowGroup        time.Duration // how often what was recorded is put on disk; default 10 s, 100 ms to 1 h
	RowGroupScans   int           // scans after which that is done earlier; default 65,536, 1 to 1,048,576
	QueuedRowGroups int           // row groups that may wait for the disk; default 3, 1 to 64

	RotateAfter time.Duration // a file is completed after it; default 1 h, RowGroup to 24 h
	RotateBytes int64         // or at this size; default 64 MiB, at least 64 KiB
	BudgetBytes int64         // all files together; default 1 GiB, at least twice RotateBytes
}

// limit is what a setting may be.
type limit struct {
	name        string
	value       *int64
	otherwise   int64
	least, most int64
	tell        func(int64) string
}

func amount(n int64) string { return fmt.Sprint(n) }

func duration(n int64) string { return time.Duration(n).String() }

// Check fills in defaults and gives every fault.
func (s *Settings) Check() error {
	var faults []error
	if s.Folder == "" {
		faults = append(faults, errors.New("recording: no folder"))
	}
	scans, queued := int64(s.RowGroupScans), int64(s.QueuedRowGroups)
	for _, l := range []limit{
		{"row group", (*int64)(&s.RowGroup), int64(10 * time.Second), int64(100 * time.Millisecond), int64(time.Hour), duration},
		{"scans in a row group", &scans, 1 << 16, 1, 1 << 20, amount},
		{"queued row groups", &queued, 3, 1, 64, amount},
		{"rotation", (*int64)(&s.RotateAfter), int64(time.Hour), 0, int64(24 * time.Hour), duration},
		{"bytes in a file", &s.RotateBytes, 64 << 20, 64 << 10, 1 << 40, amount},
		{"budget", &s.BudgetBytes, 1 << 30, 0, 1 << 50, amount},
	} {
		faults = append(faults, l.check())
	}
	s.RowGroupScans, s.QueuedRowGroups = int(scans), int(queued)
	if s.RotateAfter < s.RowGroup {
		faults = append(faults, fmt.Errorf("recording: a rotation after %v is earlier than the first row group, after %v", s.RotateAfter, s.RowGroup))
	}
	if s.BudgetBytes < 2*s.RotateBytes {
		faults = append(faults, fmt.Errorf("recording: a budget of %d bytes is less than two files of %d", s.BudgetBytes, s.RotateBytes))
	}
	return errors.Join(faults...)
}

func (l limit) check() error {
	if *l.value == 0 {
		*l.value = l.otherwise
	}
	if *l.value < l.least || *l.value > l.most {
		return fmt.Errorf("recording: %s %s is not within %s to %s", l.name, l.tell(*l.value), l.tell(l.least), l.tell(l.most))
	}
	return nil
}

package recording

import (
	"cmp"
	"errors"
	"os"
	"path/filepath"
	"slices"
)

// entry is a recording in a folder.
type entry struct {
	name
	file  string
	open  bool
	bytes int64
}

// list gives the recordings in a folder, each device's in their order.
func list(folder string) ([]entry, error) {
	files, err := os.ReadDir(folder)
	if err != nil {
		return nil, err
	}
	var all []entry
	for _, f := range files {
		n, open, ok := parseName(f.Name())
		if !ok || !f.Type().IsRegular() {
			continue
		}
		info, err := f.Info()
		if errors.Is(err, os.ErrNotExist) {
			continue // it was removed just now
		}
		if err != nil {
			return nil, err
		}
		all = append(all, entry{n, f.Name(), open, info.Size()})
	}
	slices.SortFunc(all, func(a, b entry) int {
		return cmp.Or(cmp.Compare(a.device, b.device), cmp.Compare(a.sequence, b.sequence))
	})
	return all, nil
}

// keepBudget removes complete files, oldest first, until all files together are within the budget.
func keepBudget(folder string, budget int64, tell func(path string, bytes int64)) error {
	all, err := list(folder)
	if err != nil {
		return err
	}
	total := int64(0)
	for _, e := range all {
		total += e.bytes
	}
	for total > budget {
		i := oldest(all)
		if i < 0 {
			return nil // what is left is being written
		}
		path := filepath.Join(folder, all[i].file)
		if err := os.Remove(path); err != nil {
			return err
		}
		tell(path, all[i].bytes)
		total -= all[i].bytes
		all = slices.Delete(all, i, i+1)
	}
	return nil
}

// oldest gives the complete file to be removed first: of each device's earliest the one of the earliest time; -1 if there is none. A clock
// that was set back can so change which device gives way, never the order within one.
func oldest(all []entry) int {
	best := -1
	for i := range all {
		if all[i].open || (i > 0 && all[i-1].device == all[i].device && !all[i-1].open) {
			continue
		}
		if best < 0 || all[i].time.Before(all[best].time) {
			best = i
		}
	}
	return best
}

package replay

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"github.com/ampledger/ampledger/plugins/driver/replay/columns"
	"github.com/ampledger/ampledger/plugins/driver/replay/recorded"
)

// series is files in Parquet that play as one, in their order.
type series struct {
	paths   []string
	own     bool  // they are recordings of the daemon, and played as the device gave them
	ownWall bool  // with the wall-clock times that are recorded
	read    []int // the columns that are read: those of the time, then the inputs'
}

// parquetFiles gives the files that the setting `file` means, in the order of their names; nil = it means a table.
func parquetFiles(path string) ([]string, error) {
	if strings.HasSuffix(path, recorded.Ending) || strings.HasSuffix(path, recorded.OpenEnding) {
		if !strings.ContainsAny(path, "*?[") {
			return []string{path}, nil
		}
	}
	pattern := path
	if info, err := os.Stat(path); err == nil {
		if !info.IsDir() {
			return nil, nil
		}
		pattern = filepath.Join(escapeGlob(path), "*"+recorded.Ending)
	}
	found, err := filepath.Glob(pattern)
	switch {
	case err != nil:
		return nil, fault("file", fmt.Errorf("%q is no pattern: %w", path, err))
	case len(found) == 0 && pattern == path:
		return nil, nil // to be opened, for its error
	case len(found) == 0:
		return nil, fault("file", fmt.Errorf("%s: this is a folder without a complete recording (*%s)", path, recorded.Ending))
	}
	slices.Sort(found)
	return found, nil
}

// escapeGlob makes a pattern of a path that matches nothing else.
func escapeGlob(path string) string {
	return strings.NewReplacer(`\`, `\\`, "*", `\*`, "?", `\?`, "[", `\[`).Replace(path)
}

// check opens every file and holds it against the first.
func (s *series) check() (header []string, head *recorded.Head, err error) {
	var about string
	for i, path := range s.paths {
		file, err := columns.Open(path)
		if err != nil {
			return nil, nil, err
		}
		if i == 0 {
			header, head = file.Header(), file.Head()
			about, err = headText(head)
		} else {
			err = sameAs(file, header, about, s.paths[0])
		}
		if err = errors.Join(err, file.Close()); err != nil {
			return nil, nil, err
		}
	}
	return header, head, nil
}

func headText(head *recorded.Head) (string, error) {
	if head == nil {
		return "", nil
	}
	return head.Text()
}

func sameAs(file *columns.File, header []string, about, first string) error {
	text, err := headText(file.Head())
	switch {
	case err != nil:
		return err
	case !slices.Equal(file.Header(), header):
		return fmt.Errorf("%s: its columns are others than those of %s: name files that go together", file.Name(), first)
	case text != about:
		return fmt.Errorf("%s: is of another device, or of the same one described otherwise, than %s: name files that go together", file.Name(), first)
	}
	return nil
}

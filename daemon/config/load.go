package config

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"runtime"
)

const largestFile = 1 << 20 // bytes: far beyond any real file, small enough to read at once

// Load reads and checks a configuration file. Relative paths start from the file's folder and are absolute afterwards. It also looks
// whether the executables of plugins are there. The error is Faults if the file could be read but is not right.
func Load(path string) (*Config, error) {
	text, err := read(path)
	if err != nil {
		return nil, fmt.Errorf("configuration: %w", err)
	}
	folder, err := filepath.Abs(filepath.Dir(path))
	if err != nil {
		return nil, fmt.Errorf("configuration: %w", err)
	}
	return parse(text, path, folder, notExecutable)
}

// Parse checks the text of a configuration file without touching the disk. The name stands in the faults; relative paths are joined
// to the folder. The error is Faults.
func Parse(text []byte, name, folder string) (*Config, error) {
	return parse(text, name, folder, func(string) string { return "" })
}

// read stops soon after the limit, so a path such as /dev/zero does no harm; parse refuses what is too long.
func read(path string) ([]byte, error) {
	file, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	text, err := io.ReadAll(io.LimitReader(file, largestFile+1))
	return text, errors.Join(err, file.Close())
}

// parse is Load and Parse; unfit tells why a file cannot be started as a plugin, or nothing.
func parse(text []byte, name, folder string, unfit func(path string) string) (*Config, error) {
	root, faults := readDocument(text)
	sum := sha256.Sum256(text)
	c := &Config{Folder: folder, SHA256: hex.EncodeToString(sum[:])}
	if root != nil {
		w := newWalk()
		w.faults = faults
		w.decode(root, c)
		check(w, c, func(path string) string { return unfit(resolve(folder, path)) })
		faults = w.faults
	}
	for i := range faults {
		faults[i].File = name
	}
	if err := faults.asError(); err != nil {
		return nil, err
	}
	fill(c)
	return c, nil
}

// resolve starts a relative path from a folder.
func resolve(folder, path string) string {
	if path == "" || filepath.IsAbs(path) {
		return path
	}
	return filepath.Join(folder, path)
}

func notExecutable(path string) string {
	state, err := os.Stat(path)
	switch {
	case errors.Is(err, os.ErrNotExist):
		return "there is no such file"
	case err != nil:
		return "the file cannot be looked at"
	case !state.Mode().IsRegular():
		return "this is not a file"
	case runtime.GOOS != "windows" && state.Mode().Perm()&0o111 == 0:
		return "the file is not executable: chmod +x it"
	}
	return ""
}

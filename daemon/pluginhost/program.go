package pluginhost

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"os"
	"path/filepath"

	goplugin "github.com/hashicorp/go-plugin"
)

// Program says which executable a plugin is.
type Program struct {
	Shipped     string   // a shipped plugin's name without its kind, such as "replay"; or
	Path        string   // an executable, relative to the host's folder unless absolute,
	SHA256      string   // its checksum in hexadecimal,
	Arguments   []string // its arguments
	Environment []string // and the names of the variables handed on to it
	Plaintext   bool     // it talks without TLS

	MemoryMegabytes float64 // it is killed if it holds more, in units of 2^20 bytes; 0 = DefaultMemoryMegabytes
}

// plaintext tells that it talks without TLS. So does every shipped plugin: it is this very program, started by the same user, over a socket in a folder
// that nobody else can enter, and making keys for each start takes longer than all else of it, on the cores that readings need.
func (p Program) plaintext() bool { return p.Plaintext || p.Shipped != "" }

// memory is what it may hold, in bytes.
func (p Program) memory() uint64 {
	if p.MemoryMegabytes > 0 {
		return uint64(min(p.MemoryMegabytes, 1<<40) * megabyte)
	}
	return DefaultMemoryMegabytes * megabyte
}

// Name is what people call the plugin.
func (p Program) Name() string {
	if p.Shipped != "" {
		return p.Shipped
	}
	return filepath.Base(p.Path)
}

// executable gives the absolute path of a third-party executable, so that what was checked is what is started.
func (p Program) executable(folder string) (string, error) {
	path := p.Path
	if !filepath.IsAbs(path) {
		path = filepath.Join(folder, path)
	}
	path, err := filepath.Abs(path)
	if err != nil {
		return "", err
	}
	if err := checkMode(path); err != nil {
		return "", err
	}
	sum, err := hex.DecodeString(p.SHA256)
	if err != nil || len(sum) != sha256.Size {
		return "", fmt.Errorf("sha256 %q is not 64 hexadecimal digits", p.SHA256)
	}
	same, err := (&goplugin.SecureConfig{Checksum: sum, Hash: sha256.New()}).Check(path)
	if err == nil && !same {
		err = errors.New("the executable's SHA-256 is not the one that was given for it; it was not started")
	}
	return path, err
}

func checkMode(path string) error {
	info, err := os.Stat(path)
	switch {
	case err != nil:
		return err
	case !info.Mode().IsRegular():
		return fmt.Errorf("%s is not a file", path)
	case info.Mode()&0o111 == 0:
		return fmt.Errorf("%s may not be executed: check its mode", path)
	}
	return nil
}

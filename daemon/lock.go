package daemon

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"syscall"
)

// lockState keeps a second daemon off the same state: it would give out the same device sequences. The lock goes with the process,
// however that ends; the file stays.
func lockState(folder string) (*os.File, error) {
	path := filepath.Join(folder, "lock")
	file, err := os.OpenFile(path, os.O_CREATE|os.O_RDWR, 0o600)
	if err != nil {
		return nil, fmt.Errorf("state: %w", err)
	}
	err = syscall.Flock(int(file.Fd()), syscall.LOCK_EX|syscall.LOCK_NB)
	if errors.Is(err, syscall.EWOULDBLOCK) {
		err = errors.New("another daemon works on it; give this one a state of its own")
	}
	if err != nil {
		return nil, errors.Join(fmt.Errorf("state %s: %w", folder, err), file.Close())
	}
	return file, nil
}

package store

import "syscall"

// roomBeside gives the bytes that are free where a file lies, for users who are not root; an error = nothing tells.
func roomBeside(path string) (bytes uint64, err error) {
	var found syscall.Statfs_t
	if err := syscall.Statfs(path, &found); err != nil {
		return 0, err
	}
	return found.Bavail * uint64(found.Bsize), nil
}

//go:build unix

package interop

import (
	"os"
	"syscall"
)

// lock waits until no other process holds the lock on a file.
func lock(path string) (unlock func(), err error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	if err := syscall.Flock(int(f.Fd()), syscall.LOCK_EX); err != nil {
		f.Close()
		return nil, err
	}
	return func() { f.Close() }, nil
}

//go:build unix

package project

import (
	"os"
	"syscall"
)

// tryLock takes the advisory lock of an open file, which the system gives back
// when the process ends, however it ends.
func tryLock(f *os.File) error {
	return syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB)
}

// locksEndWithTheProcess says that a lock cannot outlive its holder here.
const locksEndWithTheProcess = true

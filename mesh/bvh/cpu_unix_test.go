//go:build unix

package bvh_test

import (
	"syscall"
	"time"
)

// processorTime is what the process has used so far on all processors.
func processorTime() time.Duration {
	var u syscall.Rusage
	if syscall.Getrusage(syscall.RUSAGE_SELF, &u) != nil {
		return 0
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

//go:build unix

package render

import (
	"syscall"
	"time"
)

// cpuTime is the processor time of the whole process so far: on a busy machine
// it says more than the clock.
func cpuTime() time.Duration {
	var u syscall.Rusage
	if syscall.Getrusage(syscall.RUSAGE_SELF, &u) != nil {
		return 0
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

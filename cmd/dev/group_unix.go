//go:build unix

package main

import (
	"os/exec"
	"syscall"
)

// ownGroup puts a program and all that it starts into one process group and
// makes cancelling end the whole group: `go test` starts test binaries which
// start programs of their own, and a time limit must reach them all.
func ownGroup(cmd *exec.Cmd) {
	cmd.SysProcAttr = &syscall.SysProcAttr{Setpgid: true}
	cmd.Cancel = func() error { return syscall.Kill(-cmd.Process.Pid, syscall.SIGKILL) }
}

//go:build !unix

package main

import "os/exec"

// ownGroup does nothing where there are no process groups: cancelling ends the
// program alone.
func ownGroup(*exec.Cmd) {}

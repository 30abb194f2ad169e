//go:build !landed

package project

// cache is filled by the jobs, which wait for the packages they call.
type cache struct{}

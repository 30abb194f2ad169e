//go:build headless

package main

type windowCommand struct {
	Paths []string `arg:"" optional:"" name:"path" help:"This build has no window."`
}

// Run says that this build has no window.
func (c *windowCommand) Run(*job) error {
	for _, p := range c.Paths {
		if missing(p) {
			return usagef("%q is no command: see rigatino --help", p)
		}
	}
	return usagef("this build has no window; its commands do the same jobs: see rigatino --help")
}

package main

import (
	"os"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"
)

// TestMain lets the test binary be the program itself, so that what is driven by
// scripts and by mouse and keys is what is shipped: under its own name for the
// scripts, or wherever the variable asks for it.
func TestMain(m *testing.M) {
	if os.Getenv("RIGATINO_TEST_IS_PROGRAM") == "1" {
		main()
		return
	}
	testscript.Main(m, map[string]func(){"rigatino": main})
}

//go:build !unix

package render

import "time"

func cpuTime() time.Duration { return 0 }

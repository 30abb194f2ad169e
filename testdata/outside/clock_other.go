//go:build !unix

package outside

import "time"

// ProcessorTime is not known here.
func ProcessorTime() time.Duration { return 0 }

package session

import (
	"context"

	"rigatino/annotate/handover"
)

// HandOver writes the hand-over of the stage in view into a folder. It may run
// on any goroutine.
func (d *Desk) HandOver(ctx context.Context, dir, signedBy string, progress func(float64, string)) (*handover.Result, error) {
	return handover.Make(ctx, d.Project, dir, handover.Options{Stage: d.View.Stage, SignedBy: signedBy, Progress: progress})
}

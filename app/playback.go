package app

import (
	"time"

	"fyne.io/fyne/v2"

	"rigatino/app/part"
)

// playback shows one stage after the other, from the one in view to the last and
// on from the first, with the camera as it stands.
type playback struct {
	on    bool
	turns int // so that a beat of an earlier playing is not taken for one of this
}

// beat is how long a stage is shown.
const beat = 1500 * time.Millisecond

// scanned are the stages that can be shown, in their order.
func (w *Window) scanned() []string {
	var out []string
	for _, s := range w.desk.Project.Record().Stages {
		if _, ok := w.desk.UseAt(s.ID); ok {
			out = append(out, s.ID)
		}
	}
	return out
}

// stepStage shows the next or the previous stage that has a scan.
func (w *Window) stepStage(by int) {
	if w.desk == nil || w.desk.Stroking() || w.jobs.Busy() {
		return
	}
	stages := w.scanned()
	for i, id := range stages {
		if id == w.desk.View.Stage && len(stages) > 1 {
			w.viewStage(stages[(i+by+len(stages))%len(stages)])
			return
		}
	}
}

// play begins to show the stages in turn, or stops.
func (w *Window) play() {
	if w.desk == nil {
		return
	}
	w.playing.on = !w.playing.on
	w.playing.turns++
	w.log("play", map[string]any{"on": w.playing.on})
	w.refresh()
	if !w.playing.on {
		return
	}
	if len(w.scanned()) < 2 {
		w.playing.on = false
		w.refresh()
		w.next.Say("Only one stage has a scan: there is nothing to play.", part.Warning)
		return
	}
	w.beat(w.playing.turns)
}

// beat shows the next stage and comes again; while a scan is still being made
// ready it waits for it.
func (w *Window) beat(turn int) {
	if !w.playing.on || turn != w.playing.turns || w.desk == nil {
		return
	}
	w.stepStage(1)
	time.AfterFunc(beat, func() { fyne.Do(func() { w.beat(turn) }) })
}

//go:build !headless

package main

import (
	"bufio"
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"rigatino/annotate"
	"rigatino/annotate/facemap"
	"rigatino/mesh/solid"
)

// bench is the real window on a screen of its own, driven by mouse and keys.
type bench struct {
	t       *testing.T
	display string
	log     string
	program *exec.Cmd
	seen    int // events read
}

// display starts a screen, or takes the one that the test command made.
func display(t *testing.T) string {
	t.Helper()
	for _, tool := range []string{"Xvfb", "xdotool"} {
		if _, err := exec.LookPath(tool); err != nil {
			if os.Getenv("CI") == "true" {
				t.Fatalf("%s is needed", tool)
			}
			t.Skipf("%s is not installed: the window is not driven", tool)
		}
	}
	if d := os.Getenv("RIGATINO_DISPLAY"); d != "" {
		return d
	}
	read, write, err := os.Pipe()
	if err != nil {
		t.Fatal(err)
	}
	x := exec.Command("Xvfb", "-displayfd", "3", "-screen", "0", "1280x800x24", "-noreset", "+extension", "GLX")
	x.ExtraFiles = []*os.File{write}
	if err := x.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		_ = x.Process.Kill()
		_ = x.Wait()
	})
	if err := write.Close(); err != nil {
		t.Fatal(err)
	}
	line, err := bufio.NewReader(read).ReadString('\n')
	if err != nil {
		t.Fatalf("Xvfb named no display: %v", err)
	}
	return ":" + strings.TrimSpace(line)
}

// open starts the program on a project and waits until the specimen is drawn.
func (b *bench) open(projectDir string) {
	b.t.Helper()
	b.log = filepath.Join(b.t.TempDir(), "events.jsonl")
	b.seen = 0
	b.program = exec.Command(os.Args[0], "--event-log", b.log, projectDir)
	b.program.Env = append(os.Environ(), "RIGATINO_TEST_IS_PROGRAM=1", "DISPLAY="+b.display, "LANG=C.UTF-8", "LIBGL_ALWAYS_SOFTWARE=1")
	var out bytes.Buffer
	b.program.Stdout, b.program.Stderr = &out, &out
	if err := b.program.Start(); err != nil {
		b.t.Fatal(err)
	}
	b.t.Cleanup(func() {
		_ = b.program.Process.Kill()
		_ = b.program.Wait()
		if b.t.Failed() {
			b.t.Logf("the program said:\n%s", out.String())
		}
	})
	b.wait("ready")
}

// events reads the log.
func (b *bench) events() []map[string]any {
	data, err := os.ReadFile(b.log)
	if err != nil {
		return nil
	}
	var out []map[string]any
	for _, line := range bytes.Split(data, []byte("\n")) {
		var e map[string]any
		if json.Unmarshal(line, &e) == nil {
			out = append(out, e)
		}
	}
	return out
}

// wait reads on until an event of this name comes, and returns it.
func (b *bench) wait(name string) map[string]any {
	b.t.Helper()
	deadline := time.Now().Add(90 * time.Second)
	for time.Now().Before(deadline) {
		events := b.events()
		for b.seen < len(events) {
			e := events[b.seen]
			b.seen++
			if e["event"] == name {
				return e
			}
			if e["event"] == "failed" {
				b.t.Fatalf("while waiting for %q: %v", name, e["error"])
			}
		}
		// A poll, not a guess: the loop ends with the event.
		time.Sleep(20 * time.Millisecond)
	}
	b.t.Fatalf("no event %q; the last were %v", name, b.events()[max(0, len(b.events())-5):])
	return nil
}

func (b *bench) do(args ...string) {
	b.t.Helper()
	c := exec.Command("xdotool", args...)
	c.Env = append(os.Environ(), "DISPLAY="+b.display)
	if out, err := c.CombinedOutput(); err != nil {
		b.t.Fatalf("xdotool %v: %v\n%s", args, err, out)
	}
}

// drag moves the pointer with a button held, in small steps as a hand does.
func (b *bench) drag(button string, points ...[2]int) {
	b.t.Helper()
	at := func(p [2]int) { b.do("mousemove", fmt.Sprint(p[0]), fmt.Sprint(p[1])) }
	at(points[0])
	b.do("mousedown", button)
	for i := 1; i < len(points); i++ {
		const steps = 6
		for k := 1; k <= steps; k++ {
			at([2]int{points[i-1][0] + (points[i][0]-points[i-1][0])*k/steps, points[i-1][1] + (points[i][1]-points[i-1][1])*k/steps})
		}
	}
	b.do("mouseup", button)
}

// Open, turn, map a stroke of 10 mm, undo, redo, map again, save, kill, open
// again: the map is the same to the byte, and what was not saved is brought back
// from the journal.
func TestWindowByMouseAndKeys(t *testing.T) {
	dir := ballProject(t)
	b := &bench{t: t, display: display(t)}
	b.open(dir)
	middle := [2]int{490, 345}

	// Turn with the middle button, and by keys.
	b.drag("2", middle, [2]int{560, 380})
	b.wait("frame")
	b.do("mousemove", "490", "345", "key", "Right")
	b.wait("turned")

	// A stroke with the fill from the shelf (key 4), brush 10 mm across.
	b.do("key", "4")
	if e := b.wait("kind"); e["kind"] != "fill" {
		t.Fatalf("key 4 chose %v", e["kind"])
	}
	b.drag("1", middle, [2]int{530, 350})
	first := b.wait("stroke")
	if first["kind"] != "fill" || first["faces"].(float64) < 50 {
		t.Fatalf("stroke %v", first)
	}
	b.do("key", "ctrl+z")
	undone := b.wait("undo")
	if undone["map"] == first["map"] {
		t.Fatal("undo left the map as it was")
	}
	b.do("key", "ctrl+y")
	if redone := b.wait("redo"); redone["map"] != first["map"] {
		t.Fatalf("redo gave map %v, wanted %v", redone["map"], first["map"])
	}
	b.drag("1", [2]int{450, 330}, [2]int{470, 390})
	second := b.wait("stroke")
	b.do("key", "ctrl+s")
	saved := b.wait("saved")
	if saved["map"] != second["map"] {
		t.Fatalf("saved map %v, wanted %v", saved["map"], second["map"])
	}
	stored, err := os.ReadFile(filepath.Join(dir, "maps", saved["map"].(string)+".bin"))
	if err != nil {
		t.Fatalf("the map is not stored under its hash: %v", err)
	}

	// One more stroke that is not saved, then the program is killed.
	b.drag("1", [2]int{520, 300}, [2]int{540, 320})
	third := b.wait("stroke")
	if err := b.program.Process.Kill(); err != nil {
		t.Fatal(err)
	}
	_ = b.program.Wait()

	again, err := os.ReadFile(filepath.Join(dir, "maps", saved["map"].(string)+".bin"))
	if err != nil || !bytes.Equal(stored, again) {
		t.Fatalf("the saved map changed after the kill (%v)", err)
	}
	b.open(dir)
	b.do("mousemove", "490", "345", "click", "1")
	b.do("key", "ctrl+s")
	back := b.wait("saved")
	if back["map"] != third["map"] {
		t.Errorf("after the kill the map is %v, wanted %v", back["map"], third["map"])
	}
	data, err := os.ReadFile(filepath.Join(dir, "maps", back["map"].(string)+".bin"))
	if err != nil {
		t.Fatal(err)
	}
	if _, err := facemap.Decode(data); err != nil {
		t.Errorf("the stored map cannot be read: %v", err)
	}
	if facemap.FileName(data) != back["map"].(string)+".bin" {
		t.Errorf("the stored map has the name %s and the content of %s", back["map"], facemap.FileName(data))
	}
}

// In the task Scale two bars are picked with the mouse and written with keys;
// the factor is in force at once, is undone and done again, and stands in the
// project that is saved.
func TestScaleByMouseAndKeys(t *testing.T) {
	dir := ballProject(t)
	b := &bench{t: t, display: display(t)}
	b.open(dir)
	b.do("mousemove", "192", "777", "click", "1") // the task button
	if e := b.wait("task"); e["task"] != "Scale" {
		t.Fatalf("the button chose %v", e["task"])
	}
	bar := func(from, to [2]int) float64 {
		t.Helper()
		for i, p := range [][2]int{from, to} {
			b.do("mousemove", fmt.Sprint(p[0]), fmt.Sprint(p[1]), "click", "1")
			e := b.wait("bar end")
			if e["both"] != (i == 1) {
				t.Fatalf("end %d: %v", i+1, e)
			}
			if i == 1 {
				return e["length_mm"].(float64)
			}
		}
		return 0
	}
	keep := func(length float64) map[string]any {
		t.Helper()
		b.do("type", fmt.Sprintf("%.3f", length))
		b.do("key", "Tab")
		b.do("type", "0.02")
		b.do("key", "Return")
		return b.wait("scale")
	}
	const larger = 1.0015
	first := keep(larger * bar([2]int{400, 340}, [2]int{580, 350}))
	if first["verdict"] != "unverified" || math.Abs(first["factor"].(float64)/larger-1) > 1e-4 {
		t.Fatalf("one bar: %v", first)
	}
	b.wait("loaded") // in its new size
	b.wait("frame")
	second := keep(larger * bar([2]int{480, 270}, [2]int{500, 430}))
	if second["verdict"] != "difference_only" || second["bars"] != 2.0 || math.Abs(second["factor"].(float64)/larger-1) > 1e-4 {
		t.Fatalf("two bars: %v", second)
	}
	b.do("key", "ctrl+z")
	b.wait("undo")
	b.do("key", "ctrl+y")
	b.wait("redo")
	b.do("key", "ctrl+s")
	b.wait("saved")
	data, err := os.ReadFile(filepath.Join(dir, "project.json"))
	if err != nil {
		t.Fatal(err)
	}
	var stored struct {
		Record annotate.Record `json:"record"`
	}
	if err := json.Unmarshal(data, &stored); err != nil {
		t.Fatal(err)
	}
	if s := stored.Record.Uses[0].Scale; s.Factor != second["factor"] || len(s.Bars) != 2 || s.Verdict != annotate.ScaleDifferenceOnly {
		t.Errorf("stored %+v, wanted %v", s, second)
	}
}

// Every tool of the task Map by mouse and keys: brush size by the wheel and by
// the slider, rubbing out, loop on what is seen and right through, growth, a
// colour pick that is refused on a scan without colours, smoothing, a join line
// whose point is moved, the ruler; and each mark is undone in turn.
func TestToolsByMouseAndKeys(t *testing.T) {
	dir := ballProject(t)
	b := &bench{t: t, display: display(t)}
	b.open(dir)
	key := func(k string) { b.do("mousemove", "490", "300", "key", k) }
	press := func(x, y int) { b.do("mousemove", fmt.Sprint(x), fmt.Sprint(y), "click", "1") }
	var maps []string
	marked := func(event string, least float64) {
		t.Helper()
		e := b.wait(event)
		if e["faces"].(float64) < least {
			t.Fatalf("%s took %v faces: %v", event, e["faces"], e)
		}
		maps = append(maps, e["map"].(string))
	}

	press(490, 300) // gives the specimen the keys
	key("4")
	b.wait("kind")
	b.do("keydown", "ctrl", "click", "5", "keyup", "ctrl")
	if e := b.wait("brush"); e["radius_mm"].(float64) >= 5 {
		t.Fatalf("Ctrl and the wheel left the brush at %v mm", e["radius_mm"])
	}
	b.drag("1", [2]int{480, 300}, [2]int{520, 310})
	marked("stroke", 20)
	b.drag("1", [2]int{1166, 594}, [2]int{1200, 594})
	if e := b.wait("brush"); e["radius_mm"].(float64) <= 3 {
		t.Fatalf("the slider left the brush at %v mm", e["radius_mm"])
	}

	key("x")
	b.wait("rub out")
	b.drag("1", [2]int{500, 290}, [2]int{500, 320})
	marked("stroke", 5)
	if maps[0] == maps[1] {
		t.Error("rubbing out left the map as it was")
	}
	key("4")
	b.wait("kind")
	key("e")
	if e := b.wait("stop at edges"); e["on"] != false {
		t.Errorf("the key e gave %v", e)
	}

	// A loop about the middle, on what is seen and then right through: what of a
	// ball lies behind is larger than what lies before it, as sight widens.
	loop := [][2]int{{430, 250}, {550, 250}, {550, 400}, {430, 400}, {430, 250}}
	key("o")
	b.wait("tool")
	b.drag("1", loop...)
	seen := b.wait("loop")
	maps = append(maps, seen["map"].(string))
	key("t")
	b.wait("through")
	b.drag("1", loop...)
	through := b.wait("loop")
	maps = append(maps, through["map"].(string))
	if near, both := seen["faces"].(float64), through["faces"].(float64); near < 500 || both < 2*near {
		t.Errorf("a loop takes %v faces of what is seen and %v right through a ball", near, both)
	}
	key("t")
	b.wait("through")
	press(888, 664)
	marked("smoothed", 10)
	press(490, 225) // gives the specimen the keys again; another loop, small
	b.drag("1", [2]int{400, 250}, [2]int{415, 250}, [2]int{415, 270}, [2]int{400, 270}, [2]int{400, 250})
	marked("loop", 10)

	key("g")
	b.wait("tool")
	press(530, 350)
	marked("grown", 500)

	key("c")
	b.wait("tool")
	press(470, 350)
	if e := b.wait("not marked"); !strings.Contains(fmt.Sprint(e["reason"]), "no colours") {
		t.Fatalf("a colour pick on a scan without colours said %v", e["reason"])
	}

	key("j")
	b.wait("tool")
	for _, x := range []int{420, 480, 540} {
		press(x, 320)
		b.wait("line point")
	}
	key("Return")
	kept := b.wait("line kept")
	if kept["line"] != "J1" {
		t.Fatalf("the line is kept as %v", kept)
	}
	b.drag("1", [2]int{420, 320}, [2]int{425, 280})
	b.wait("line moved")

	key("u")
	b.wait("tool")
	press(440, 300)
	b.wait("ruler from")
	press(540, 300)
	rule := b.wait("ruler")
	straight, over := rule["straight_mm"].(float64), rule["surface_mm"].(float64)
	// On a sphere of radius R the way over the surface between two places a
	// chord apart is 2R asin(chord/2R).
	if want := 80 * math.Asin(straight/80); straight < 5 || math.Abs(over-want) > 0.005*want {
		t.Errorf("the ruler says %.3f mm straight and %.3f mm over the surface, wanted %.3f", straight, over, want)
	}

	// A ball is cut in one closed line; a second press puts the plane away.
	key("k")
	if e := b.wait("cut"); e["on"] != true || e["lines"].(float64) != 1 {
		t.Errorf("the cut through a ball: %v", e)
	}
	key("k")
	b.wait("cut")
	for range 2 { // the point moved, the line drawn
		b.do("key", "ctrl+z")
		b.wait("undo")
	}
	for i := len(maps) - 1; i > 0; i-- {
		b.do("key", "ctrl+z")
		if e := b.wait("undo"); e["map"] != maps[i-1] {
			t.Fatalf("undoing mark %d gave map %v, wanted %v", i, e["map"], maps[i-1])
		}
	}
}

// What a look at a scan proposes is walked through by keys: the bed is set aside,
// taken back by undo and kept in; a stroke leaves faces out and undo takes them
// back.
func TestLookByMouseAndKeys(t *testing.T) {
	m := solid.Icosphere(5, 40)
	bed := solid.Plane(200, 60)
	base := uint32(m.VertexCount())
	for i, v := range bed.Positions {
		if i%3 == 2 {
			v = -40
		}
		m.Positions = append(m.Positions, v)
	}
	for _, v := range bed.Triangles {
		m.Triangles = append(m.Triangles, base+v)
	}
	b := &bench{t: t, display: display(t)}
	b.open(scanProject(t, m))
	b.do("mousemove", "72", "777", "click", "1") // the task button
	if e := b.wait("task"); e["task"] != "Add" {
		t.Fatalf("the button chose %v", e["task"])
	}
	b.do("mousemove", "257", "666", "click", "1") // on the shelf
	if e := b.wait("looked"); e["proposals"] != 1.0 {
		t.Fatalf("looked: %v", e)
	}
	if e := b.wait("proposal"); e["kind"] != "bed" || e["faces"] != 7200.0 || e["seen"].(float64) < 0.5 {
		t.Fatalf("in hand is %v", e)
	}
	b.do("key", "s")
	aside := b.wait("set aside")
	if aside["faces"] != 7200.0 || aside["region"] != "R1" {
		t.Fatalf("set aside: %v", aside)
	}
	b.do("key", "ctrl+z")
	blank := b.wait("undo")["map"]
	if blank == aside["map"] {
		t.Fatal("undo left the map as it was")
	}
	b.do("key", "i")
	if e := b.wait("kept in"); e["map"] != blank {
		t.Fatalf("kept in: %v", e)
	}
	b.wait("frame")
	b.do("mousemove", "486", "666", "click", "1") // Leave out
	if e := b.wait("leaving"); e["out"] != true {
		t.Fatalf("the button gave %v", e)
	}
	b.drag("1", [2]int{470, 330}, [2]int{510, 350})
	if e := b.wait("stroke"); e["kind"] != "support" || e["faces"].(float64) < 20 {
		t.Fatalf("stroke %v", e)
	}
	b.do("key", "ctrl+z")
	if e := b.wait("undo"); e["map"] != blank {
		t.Errorf("undo gave map %v, wanted %v", e["map"], blank)
	}
}

// In the task Change two scans are compared, what they propose is walked through
// by keys, trimmed with the mouse, accepted and refused; undo takes it back and
// nothing is marked before.
func TestProposalsByMouseAndKeys(t *testing.T) {
	b := &bench{t: t, display: display(t)}
	b.open(pairProject(t))
	b.do("mousemove", "432", "777", "click", "1") // the task button
	b.wait("task")
	b.wait("loaded") // the other date
	b.do("mousemove", "1215", "728", "click", "1")
	if e := b.wait("compared"); e["areas"] != 4.0 {
		t.Fatalf("compared: %v", e)
	}
	b.wait("frame")
	b.do("mousemove", "1215", "728", "click", "1")
	if e := b.wait("proposed"); e["proposals"] != 4.0 {
		t.Fatalf("proposed: %v", e)
	}
	b.wait("proposal")
	b.do("key", "b") // round to the last, matter put on
	last := b.wait("proposal")
	if last["kind"] != "fill_added" || last["number"] != 4.0 || last["state"] != "" {
		t.Fatalf("in hand is %v", last)
	}
	b.do("key", "t")
	b.wait("trimming")
	b.wait("frame")
	b.drag("1", [2]int{490, 180}, [2]int{800, 180}, [2]int{800, 540}, [2]int{490, 540}, [2]int{490, 180})
	trimmed := b.wait("trimmed")
	if n := trimmed["faces"].(float64); n < 5 || n >= last["faces"].(float64) {
		t.Fatalf("trimmed: %v of %v", trimmed, last["faces"])
	}
	b.do("key", "a")
	accepted := b.wait("accepted")
	if accepted["as"] != "fill" || accepted["trimmed"] != true || accepted["faces"] != trimmed["faces"] {
		t.Fatalf("accepted: %v", accepted)
	}
	b.wait("proposal")
	b.do("key", "o")
	if e := b.wait("refused"); e["kind"] == "fill_added" {
		t.Fatalf("refused: %v", e)
	}
	for range 2 {
		b.do("key", "ctrl+z")
		if e := b.wait("undo"); !strings.HasPrefix(fmt.Sprint(e["label"]), "proposal ") {
			t.Fatalf("undone: %v", e)
		}
	}
	// The two dates one after the other, round to the first again.
	b.do("key", "p")
	if e := b.wait("play"); e["on"] != true {
		t.Fatalf("the key p gave %v", e)
	}
	for _, stage := range []string{"received", "mech_coarse"} {
		if e := b.wait("view"); !strings.HasPrefix(fmt.Sprint(e["use"]), stage+"/") {
			t.Fatalf("%v is shown, wanted %s", e["use"], stage)
		}
	}
	b.do("key", "p")
	b.wait("play")
}

package main

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"image"
	"image/png"
	"os"
	"path/filepath"
	"time"
)

// demoFolder is the name of the folder that the demo is made in, in the
// person's own folder, where they will look for it.
const demoFolder = "Rigatino demo"

// run builds the program, makes the demo project and opens the window on it.
func run(ctx context.Context, h house, args []string) error {
	flags := flag.NewFlagSet("run", flag.ContinueOnError)
	folder := flags.String("demo", "", "folder for the demo project and its hand-overs (default: \""+demoFolder+"\" in your own folder)")
	if err := parse(flags, args); err != nil {
		return err
	}
	if _, err := os.Stat(h.path("cmd/rigatino/main.go")); err != nil {
		return errors.New("there is no program to run yet: cmd/rigatino/main.go is missing from this clone")
	}
	display, noDisplay := displayHere(ctx)
	needs := append(buildNeeds(), windowNeeds()...)
	if noDisplay != nil {
		fmt.Printf("There is no display here (%v): the window will open on one in memory,\nand a picture of it is kept.\n\n", noDisplay)
		needs = append(needs, screenNeeds()...)
	}
	if err := mustHave(newInstaller(h).bring(ctx, needs)); err != nil {
		return err
	}
	binary, err := build(ctx, h)
	if err != nil {
		return err
	}
	demo, err := makeDemo(ctx, h, binary, *folder)
	if err != nil {
		return err
	}
	if noDisplay == nil {
		fmt.Printf("Opening the window on %s\n", demo.project)
		return program{house: h, env: []string{"DISPLAY=" + display}, stdin: os.Stdin, person: true}.run(ctx, binary, demo.project)
	}
	picture := filepath.Join(demo.dir, "window.png")
	if err := photographWindow(ctx, h, binary, demo.project, picture); err != nil {
		return fmt.Errorf("the window on a display in memory: %w", err)
	}
	fmt.Printf("No display, so no window stays open. What it shows: %s\n", picture)
	return nil
}

// build compiles the program into bin/, which git ignores.
func build(ctx context.Context, h house) (binary string, err error) {
	binary = h.path("bin/rigatino")
	fmt.Printf("Building %s (the first time the window toolkit is compiled too: about four minutes on two cores)\n", binary)
	start := time.Now()
	// Without the stamp of version control: it fails in a clone owned by somebody else.
	err = program{house: h, env: []string{"CGO_ENABLED=1"}, quiet: "building"}.
		run(ctx, "go", "build", "-buildvcs=false", "-o", binary, "./cmd/rigatino")
	if err != nil {
		return "", fmt.Errorf("the program could not be built, see the lines above: %w", err)
	}
	fmt.Printf("Built in %s\n\n", seconds(time.Since(start)))
	return binary, nil
}

// A demo is the made demo project.
type demo struct {
	dir     string // the folder with project and hand-overs
	project string // the project in it
}

// makeDemo has the program make the demo project, unless it stands already: a
// project that somebody has worked on since is never made again over theirs.
func makeDemo(ctx context.Context, h house, binary, folder string) (demo, error) {
	if folder == "" {
		own, err := ownFolder()
		if err != nil {
			return demo{}, err
		}
		folder = filepath.Join(own, demoFolder)
	}
	folder, err := filepath.Abs(folder)
	if err != nil {
		return demo{}, fmt.Errorf("find the demo folder: %w", err)
	}
	if project, ok := projectIn(folder); ok {
		fmt.Printf("The demo project stands already and is used as it is: %s\n(for a new one move that folder away, or give -demo another)\n\n", folder)
		return demo{folder, project}, nil
	}
	if entries, err := os.ReadDir(folder); err == nil && len(entries) > 0 {
		return demo{}, fmt.Errorf("%s holds other files and no project: give -demo an empty or new folder", folder)
	}
	// Made under another name first, so that a half-made demo is never taken for one.
	half := folder + ".unfinished"
	if err := os.RemoveAll(half); err != nil {
		return demo{}, fmt.Errorf("remove an earlier unfinished demo: %w", err)
	}
	fmt.Printf("Making the demo project with all its hand-overs in %s\n", folder)
	start := time.Now()
	if err := (program{house: h, quiet: "making the demo"}).run(ctx, binary, "demo", half); err != nil {
		return demo{}, fmt.Errorf("the demo project could not be made, see the lines above: %w", err)
	}
	if err := os.Remove(folder); err != nil && !errors.Is(err, os.ErrNotExist) {
		return demo{}, fmt.Errorf("put the demo in its place: %w", err)
	}
	if err := os.Rename(half, folder); err != nil {
		return demo{}, fmt.Errorf("put the demo in its place: %w", err)
	}
	project, ok := projectIn(folder)
	if !ok {
		return demo{}, fmt.Errorf("%s holds no project after `rigatino demo`", folder)
	}
	fmt.Printf("Made in %s\n\n", seconds(time.Since(start)))
	return demo{folder, project}, nil
}

// ownFolder is the person's home, or their cache where there is no home.
func ownFolder() (string, error) {
	if home, err := os.UserHomeDir(); err == nil {
		if info, err := os.Stat(home); err == nil && info.IsDir() {
			return home, nil
		}
	}
	cache, err := os.UserCacheDir()
	if err != nil {
		return "", fmt.Errorf("no folder for the demo: neither home nor cache is known: %w", err)
	}
	return cache, nil
}

// projectIn finds the first project folder (by name) in a folder.
func projectIn(folder string) (string, bool) {
	found, _ := filepath.Glob(filepath.Join(globQuote(folder), "*.rigatino", "project.json"))
	if len(found) == 0 {
		return "", false
	}
	return filepath.Dir(found[0]), true
}

// globQuote takes the special meaning from a folder's own letters.
func globQuote(path string) string {
	var quoted []rune
	for _, r := range path {
		if r == '*' || r == '?' || r == '[' || r == '\\' {
			quoted = append(quoted, '\\')
		}
		quoted = append(quoted, r)
	}
	return string(quoted)
}

// photographWindow opens the window on a display in memory, waits until the
// program reports that it shows the project, and keeps a picture of the screen.
func photographWindow(ctx context.Context, h house, binary, project, picture string) error {
	x, err := startScreen(ctx)
	if err != nil {
		return err
	}
	defer x.stop()
	ctx, cancel := context.WithTimeout(ctx, 3*time.Minute)
	defer cancel()
	dir, err := os.MkdirTemp("", "rigatino-window-")
	if err != nil {
		return err
	}
	defer os.RemoveAll(dir)
	log := filepath.Join(dir, "events.jsonl")

	windowCtx, closeWindow := context.WithCancel(ctx)
	ended := make(chan error, 1)
	go func() {
		// Asked to end, not killed: it has the project open and must close it.
		ended <- program{house: h, env: []string{"DISPLAY=" + x.display, "LANG=C.UTF-8"}, person: true}.
			run(windowCtx, binary, "--event-log", log, project)
	}()
	// The program is waited for before its display and its log go away.
	defer func() {
		closeWindow()
		<-ended
	}()
	for _, event := range []string{"ready", "tally"} {
		if err := waitForEvent(ctx, log, event, ended); err != nil {
			return err
		}
	}
	img, err := grabStill(ctx, x.display)
	if err != nil {
		return err
	}
	if n := colours(img, 16); n < 16 {
		return fmt.Errorf("the window is ready but its picture has only %d colours: nothing is painted", n)
	}
	var encoded bytes.Buffer
	if err := png.Encode(&encoded, img); err != nil {
		return fmt.Errorf("write %s: %w", picture, err)
	}
	if err := os.WriteFile(picture, encoded.Bytes(), 0o644); err != nil {
		return fmt.Errorf("write %s: %w", picture, err)
	}
	return nil
}

// grabStill takes the picture of a window that has come to rest: two in a row are
// the same.
func grabStill(ctx context.Context, display string) (*image.RGBA, error) {
	var last *image.RGBA
	look := time.NewTicker(300 * time.Millisecond)
	defer look.Stop()
	for {
		img, err := grabWindow(ctx, display)
		if err != nil {
			return nil, err
		}
		if last != nil && bytes.Equal(img.Pix, last.Pix) {
			return img, nil
		}
		last = img
		select {
		case <-ctx.Done():
			return nil, fmt.Errorf("the window never came to rest: %w", ctx.Err())
		case <-look.C:
		}
	}
}

// waitForEvent returns when the program's event log names an event, and with an
// error when the program ended before.
func waitForEvent(ctx context.Context, log, event string, ended chan error) error {
	look := time.NewTicker(50 * time.Millisecond)
	defer look.Stop()
	for {
		if found, err := logHas(log, event); err != nil || found {
			return err
		}
		select {
		case err := <-ended:
			ended <- err // whoever waits for the end later finds it
			if err == nil {
				return fmt.Errorf("the program ended before its event log said %q", event)
			}
			return fmt.Errorf("the program ended before its event log said %q: %w", event, err)
		case <-ctx.Done():
			return fmt.Errorf("the event log did not say %q in time: %w", event, ctx.Err())
		case <-look.C:
		}
	}
}

// logHas says whether an event log, one JSON object a line, has an event of
// this name. A last line that is still being written counts as not there.
func logHas(path, event string) (bool, error) {
	text, err := os.ReadFile(path)
	if errors.Is(err, os.ErrNotExist) {
		return false, nil
	}
	if err != nil {
		return false, fmt.Errorf("read the event log: %w", err)
	}
	lines := bufio.NewScanner(bytes.NewReader(text))
	lines.Buffer(nil, 1<<20)
	for lines.Scan() {
		var entry struct {
			Event string `json:"event"`
		}
		if json.Unmarshal(lines.Bytes(), &entry) == nil && entry.Event == event {
			return true, nil
		}
	}
	return false, nil
}

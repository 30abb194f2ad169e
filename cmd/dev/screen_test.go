package main

import (
	"context"
	"image"
	"image/color"
	"os"
	"testing"
	"time"
)

// xvfb starts a display in memory, or skips where there can be none.
func xvfb(t *testing.T) *screen {
	t.Helper()
	if !onPath("Xvfb") {
		if underCI() {
			t.Fatal("Xvfb is needed and absent")
		}
		t.Skip("no Xvfb here: skipped")
	}
	x, err := startScreen(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(x.stop)
	return x
}

// showWindow shows a plain window: requests CreateWindow (1) with a background
// pixel (value mask 2) and override-redirect (mask 0x200), then MapWindow (8),
// encoded as the X protocol, appendix B, says.
func showWindow(x *xServer, id uint32, at image.Rectangle, pixel uint32) error {
	body := words32(id, x.root)
	for _, n := range []int{at.Min.X, at.Min.Y, at.Dx(), at.Dy(), 0, 1} {
		body = le.AppendUint16(body, uint16(n))
	}
	body = append(body, words32(0, 2|0x200, pixel, 1)...)
	if err := x.send(1, 0, body); err != nil {
		return err
	}
	if err := x.send(8, 0, words32(id)); err != nil {
		return err
	}
	// Any reply shows that the server has done both.
	_, err := x.geometry(id)
	return err
}

// TestGrabWindow reads the picture of windows whose place and colours the test
// gave them itself: of two the larger, with what lies over it, cut to the screen.
func TestGrabWindow(t *testing.T) {
	screen := xvfb(t)
	ctx, cancel := context.WithTimeout(t.Context(), 30*time.Second)
	defer cancel()
	if _, err := grabWindow(ctx, screen.display); err == nil {
		t.Error("a picture of an empty screen was given out as one of a window")
	}
	x, err := openX(ctx, screen.display)
	if err != nil {
		t.Fatal(err)
	}
	defer x.close()
	if err := showWindow(x, x.base|1, image.Rect(1300, 100, 1700, 500), 0x00d55e00); err != nil {
		t.Fatal(err)
	}
	if err := showWindow(x, x.base|2, image.Rect(1310, 120, 1330, 150), 0x000072b2); err != nil {
		t.Fatal(err)
	}

	img, err := grabWindow(ctx, screen.display)
	if err != nil {
		t.Fatal(err)
	}
	// The screen is 1600 wide: of 400 columns 300 are on it.
	if want := image.Rect(0, 0, 300, 400); img.Rect != want {
		t.Fatalf("picture is %v, want %v", img.Rect, want)
	}
	back, over := color.RGBA{0xd5, 0x5e, 0x00, 0xff}, color.RGBA{0x00, 0x72, 0xb2, 0xff}
	wrong := 0
	for y := range 400 {
		for x := range 300 {
			want := back
			if x >= 10 && x < 30 && y >= 20 && y < 50 {
				want = over
			}
			if img.RGBAAt(x, y) != want {
				wrong++
			}
		}
	}
	if wrong > 0 {
		t.Errorf("%d pixels of 120000 are wrong", wrong)
	}
	if n := colours(img, 16); n != 2 {
		t.Errorf("%d colours counted, want 2", n)
	}
}

// TestScreensAreApart: two at once get two display numbers, and a stopped one
// no longer answers.
func TestScreensAreApart(t *testing.T) {
	a, b := xvfb(t), xvfb(t)
	if a.display == b.display {
		t.Fatalf("two screens are both %s", a.display)
	}
	t.Setenv("DISPLAY", a.display)
	if got, err := displayHere(t.Context()); err != nil || got != a.display {
		t.Errorf("display is %q, %v", got, err)
	}
	a.stop()
	if _, err := displayHere(t.Context()); err == nil {
		t.Error("a display that was stopped still counts as one")
	}
}

// TestNoDisplay: every DISPLAY at which nobody can be reached is a reason in
// words, never a display.
func TestNoDisplay(t *testing.T) {
	for _, display := range []string{"", "7", ":x", ":", ":65000", ":59534", "127.0.0.1:59534"} {
		t.Setenv("DISPLAY", display)
		if got, err := displayHere(t.Context()); err == nil {
			t.Errorf("DISPLAY=%q gave %q", display, got)
		}
	}
}

// TestWindowLog: the last line of a log counts only when it is whole.
func TestWindowLog(t *testing.T) {
	log := t.TempDir() + "/events.jsonl"
	for _, row := range []struct {
		text string
		want bool
	}{
		{"", false},
		{"{\"event\":\"opened\"}\n", false},
		{"{\"event\":\"opened\"}\n{\"event\":\"rea", false},
		{"{\"event\":\"opened\",\"what\":\"ready\"}\n", false},
		{"not json\n{\"event\":\"ready\",\"ms\":12}\n", true},
	} {
		if err := os.WriteFile(log, []byte(row.text), 0o600); err != nil {
			t.Fatal(err)
		}
		if got, err := logHas(log, "ready"); err != nil || got != row.want {
			t.Errorf("%q: ready is %v (%v), want %v", row.text, got, err, row.want)
		}
	}
	if got, err := logHas(log+".none", "ready"); err != nil || got {
		t.Errorf("a log that is not there: %v, %v", got, err)
	}
}

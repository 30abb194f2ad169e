package main

import (
	"context"
	"fmt"
	"image"
	"image/png"
	"os"
	"os/signal"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// standInVariable makes the test binary stand in for the program: it opens a
// window made of bands of different colours on its display, or misbehaves.
const standInVariable = "RIGATINO_STAND_IN"

func TestMain(m *testing.M) {
	if how := os.Getenv(standInVariable); how != "" {
		if err := standIn(how, os.Args[1:]); err != nil {
			fmt.Fprintln(os.Stderr, "stand-in:", err)
			os.Exit(1)
		}
		return
	}
	os.Exit(m.Run())
}

// standIn is called as the program is: --event-log FILE PROJECT.
func standIn(how string, args []string) error {
	if len(args) != 3 || args[0] != "--event-log" {
		return fmt.Errorf("called with %q", args)
	}
	if how == "ends" {
		return fmt.Errorf("%s: no such project", args[2])
	}
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	x, err := openX(ctx, os.Getenv("DISPLAY"))
	if err != nil {
		return err
	}
	defer x.close()
	bands := 20
	if how == "unpainted" {
		bands = 0
	}
	if err := showWindow(x, x.base|1, image.Rect(0, 0, 640, 480), 0x00ffffff); err != nil {
		return err
	}
	for i := range bands {
		if err := showWindow(x, x.base|uint32(2+i), image.Rect(0, 20*i, 300, 20*i+20), uint32(10*i)); err != nil {
			return err
		}
	}
	if err := os.WriteFile(args[1], []byte("{\"event\":\"opened\"}\n{\"event\":\"ready\"}\n{\"event\":\"tally\"}\n"), 0o600); err != nil {
		return err
	}
	<-ctx.Done()
	return os.WriteFile(filepath.Join(args[2], "closed"), nil, 0o600)
}

// TestPhotographWindow goes the whole way without a display: a screen is
// started, the program opened on it, its picture kept, the program asked to end
// so that it can close its project. A window that paints nothing and a program
// that ends at once are errors, never a picture.
func TestPhotographWindow(t *testing.T) {
	xvfb(t)
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	for _, row := range []struct{ how, fault string }{
		{"paints", ""},
		{"unpainted", "nothing is painted"},
		{"ends", "the program ended before its event log said \"ready\""},
	} {
		t.Run(row.how, func(t *testing.T) {
			t.Setenv(standInVariable, row.how)
			dir := t.TempDir()
			picture := filepath.Join(dir, "window.png")
			ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
			defer cancel()
			err := photographWindow(ctx, house{dir}, self, dir, picture)
			if row.fault != "" {
				if err == nil || !strings.Contains(err.Error(), row.fault) {
					t.Errorf("error %v, want %q in it", err, row.fault)
				}
				if _, err := os.Stat(picture); err == nil {
					t.Error("a picture was kept all the same")
				}
				return
			}
			if err != nil {
				t.Fatal(err)
			}
			f, err := os.Open(picture)
			if err != nil {
				t.Fatal(err)
			}
			defer f.Close()
			img, err := png.Decode(f)
			if err != nil {
				t.Fatal(err)
			}
			if img.Bounds() != image.Rect(0, 0, 640, 480) {
				t.Errorf("picture is %v", img.Bounds())
			}
			// The seventh band is 60 of 255 blue, the window beside it white.
			if r, g, b, _ := img.At(10, 130).RGBA(); r != 0 || g != 0 || b>>8 != 60 {
				t.Errorf("colour at the seventh band is %d %d %d", r>>8, g>>8, b>>8)
			}
			if r, _, _, _ := img.At(500, 130).RGBA(); r>>8 != 255 {
				t.Error("the window beside the bands is not white")
			}
			if _, err := os.Stat(filepath.Join(dir, "closed")); err != nil {
				t.Error("the program was killed and could not close its project")
			}
		})
	}
}

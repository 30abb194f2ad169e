package main

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
)

// A need is one thing of the machine that some work cannot do without. It is
// found by trying it, not by asking the package system: what was built by hand
// or comes from elsewhere counts as well.
type need struct {
	what     string   // what is looked for
	why      string   // what it is for, in words for the person at the machine
	packages []string // Debian packages that bring it
	there    func(ctx context.Context) bool
}

// header is a C library with the line that includes it, the flag that links it
// and the Debian package that brings both.
type header struct{ include, link, pkg string }

// windowHeaders are the libraries that the window toolkit's C part includes and
// links. The test of this list compares it with what the toolkit's own build
// lines ask for.
func windowHeaders() []header {
	return []header{
		{"GL/gl.h", "GL", "libgl-dev"},
		{"X11/Xlib.h", "X11", "libx11-dev"},
		{"X11/Xcursor/Xcursor.h", "Xcursor", "libxcursor-dev"},
		{"X11/extensions/Xrandr.h", "Xrandr", "libxrandr-dev"},
		{"X11/extensions/Xinerama.h", "Xinerama", "libxinerama-dev"},
		{"X11/extensions/XInput2.h", "Xi", "libxi-dev"},
		{"X11/extensions/xf86vmode.h", "Xxf86vm", "libxxf86vm-dev"},
	}
}

// buildNeeds is what compiling the program with its window takes.
func buildNeeds() []need {
	needs := []need{
		{
			what: "C compiler", why: "the window toolkit reaches OpenGL and X through C",
			packages: []string{"gcc", "libc6-dev"},
			there:    func(ctx context.Context) bool { return compiles(ctx, "stdlib.h") },
		},
		{
			what: "pkg-config", why: "the compiler asks it where OpenGL lies",
			packages: []string{"pkg-config"},
			there:    func(context.Context) bool { return onPath("pkg-config") },
		},
	}
	for _, h := range windowHeaders() {
		needs = append(needs, need{
			what: h.include, why: "the window is compiled against lib" + h.link,
			packages: []string{h.pkg},
			there:    func(ctx context.Context) bool { return compiles(ctx, h.include, h.link) },
		})
	}
	return needs
}

// windowNeeds is what the built program takes to open its window.
func windowNeeds() []need {
	return []need{{
		what: "OpenGL driver", why: "the window is painted through OpenGL, in software where there is no graphics card",
		packages: []string{"libgl1-mesa-dri"},
		there:    func(context.Context) bool { return anyFile(driverPlaces()) },
	}}
}

// screenNeeds is what stands in for a display where there is none.
func screenNeeds() []need {
	return []need{programNeed("Xvfb", "xvfb", "there is no display here: it is one in memory")}
}

// testNeeds is what the tests run beside what the build takes.
func testNeeds() []need {
	return []need{
		programNeed("Xvfb", "xvfb", "the window is tested on a display in memory"),
		programNeed("xdotool", "xdotool", "the window is tested by mouse and keys"),
		programNeed("pdftotext", "poppler-utils", "the words and pages of the PDF report are read back"),
		programNeed("pdftoppm", "poppler-utils", "the pages of the PDF report are drawn to see that nothing is cut off"),
		programNeed("qpdf", "qpdf", "the structure of the PDF report is checked"),
		programNeed("node", "nodejs", "annotated models are read by outside glTF programs"),
		programNeed("npm", "npm", "it fetches those outside glTF programs at pinned versions"),
	}
}

func programNeed(program, pkg, why string) need {
	return need{
		what: program, why: why, packages: []string{pkg},
		there: func(context.Context) bool { return onPath(program) },
	}
}

func onPath(program string) bool {
	_, err := exec.LookPath(program)
	return err == nil
}

// compiles says whether a C program with this include compiles and links.
func compiles(ctx context.Context, include string, libraries ...string) bool {
	cc := os.Getenv("CC")
	if cc == "" {
		cc = "gcc"
	}
	words := strings.Fields(cc)
	args := append(words[1:], "-x", "c", "-", "-o", os.DevNull)
	for _, l := range libraries {
		args = append(args, "-l"+l)
	}
	cmd := exec.CommandContext(ctx, words[0], args...)
	// X's extension headers need the plain ones before them.
	text := "#include <stdlib.h>\n"
	if strings.HasPrefix(include, "X11/") {
		text += "#include <X11/Xlib.h>\n"
	}
	cmd.Stdin = strings.NewReader(text + "#include <" + include + ">\nint main(void) { return 0; }\n")
	return cmd.Run() == nil
}

// driverPlaces are the files in which Mesa's software driver comes on Debian
// and on other systems; one of them is enough.
func driverPlaces() []string {
	var places []string
	for _, lib := range []string{"/usr/lib/*-linux-gnu*", "/usr/lib64", "/usr/lib"} {
		places = append(places, lib+"/dri/swrast_dri.so", lib+"/libgallium*.so")
	}
	return places
}

func anyFile(patterns []string) bool {
	for _, p := range patterns {
		if found, _ := filepath.Glob(p); len(found) > 0 {
			return true
		}
	}
	return false
}

// missing returns the needs that are not met here.
func missing(ctx context.Context, needs []need) []need {
	var lack []need
	for _, n := range needs {
		if !n.there(ctx) {
			lack = append(lack, n)
		}
	}
	return lack
}

// packagesOf lists the packages of some needs, each once, in order.
func packagesOf(needs []need) []string {
	var names []string
	seen := map[string]bool{}
	for _, n := range needs {
		for _, p := range n.packages {
			if !seen[p] {
				seen[p] = true
				names = append(names, p)
			}
		}
	}
	return names
}

// words says in one line what is needed and what for.
func (n need) words() string {
	return fmt.Sprintf("%-28s %s", n.what, n.why)
}

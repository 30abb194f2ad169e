package main

import (
	"slices"
	"strings"
	"testing"
)

// repository is the clone that the tests run in.
func repository(t *testing.T) house {
	t.Helper()
	h, err := findHouse()
	if err != nil {
		t.Fatal(err)
	}
	return h
}

// TestRooms holds every import of the repository against the plan of the house.
func TestRooms(t *testing.T) {
	all, err := edges(repository(t).root)
	if err != nil {
		t.Fatal(err)
	}
	if len(all) < 20 {
		t.Fatalf("only %d imports found: the repository was not read", len(all))
	}
	for _, problem := range broken(all) {
		t.Error(problem)
	}
}

// TestRoomRules tries the plan on imports that nobody wrote; the verdicts follow
// from the plan's own words: one way from scans to hand-overs, the toolkit in
// the window only, this command on the standard library only.
func TestRoomRules(t *testing.T) {
	const cut = "fyne.io/fyne/v2"
	for _, row := range []struct {
		file, to string
		allowed  bool
	}{
		{"mesh/bvh/tree.go", "rigatino/mesh", true},
		{"mesh/bvh/tree.go", "sort", true},
		{"mesh/bvh/tree.go", "gonum.org/v1/gonum/spatial/r3", true},
		{"mesh/bvh/tree.go", "rigatino/mesh/solid", false},
		{"mesh/bvh/tree_test.go", "rigatino/mesh/solid", true},
		{"mesh/bvh/tree_test.go", "rigatino/testdata/shared", true},
		{"mesh/bvh/tree_test.go", "pgregory.net/rapid", true},
		{"mesh/bvh/tree.go", "pgregory.net/rapid", false},
		{"mesh/bvh/tree_test.go", cut, false},
		{"mesh/mesh.go", "rigatino/mesh/bvh", false},
		{"mesh/mesh.go", "rigatino/annotate", false},
		{"mesh/register/align.go", "rigatino/mesh/change", false},
		{"mesh/change/gap.go", "rigatino/mesh/register", true},
		{"mesh/change/gap_test.go", "rigatino/mesh/volume", false},
		{"mesh/render/shade.go", "rigatino/annotate", false},
		{"mesh/render/shade.go", "rigatino/annotate/terms", false},
		{"annotate/record.go", cut + "/widget", false},
		{"annotate/terms/terms.go", "rigatino/mesh/colour", false},
		{"annotate/tally/area.go", "rigatino/annotate/project", false},
		{"annotate/handover/report/cover.go", "codeberg.org/go-pdf/fpdf", true},
		{"annotate/handover/glb/write.go", "codeberg.org/go-pdf/fpdf", false},
		{"annotate/handover/table/csv.go", "rigatino/annotate/handover", false},
		{"annotate/project/store.go", "rigatino/annotate/handover", false},
		{"app/session/session.go", "rigatino/annotate/project", true},
		{"app/session/session.go", cut, false},
		{"app/tool/brush.go", "rigatino/mesh/bvh", true},
		{"app/panel/scale.go", cut + "/widget", true},
		{"app/panel/scale.go", "rigatino/mesh/bvh", false},
		{"app/app.go", cut + "/app", false},
		{"app/app_test.go", cut + "/app", false},
		{"cmd/rigatino/window.go", cut + "/app", true},
		{"cmd/rigatino/window.go", "rigatino/app", true},
		{"cmd/rigatino/align.go", "rigatino/app", false},
		{"cmd/rigatino/align.go", cut + "/app", false},
		{"cmd/rigatino/align.go", "rigatino/app/job", true},
		{"cmd/rigatino/align.go", "github.com/alecthomas/kong", true},
		{"cmd/dev/main.go", "golang.org/x/image/draw", false},
		{"cmd/dev/main_test.go", "github.com/google/go-cmp/cmp", false},
		{"assets/assets.go", "rigatino/mesh", false},
		{"assets/demo/bone.go", "rigatino/mesh/solid", true},
		{"mesh/cellar/cellar.go", "sort", false},
	} {
		reason := forbidden(edge{row.file, 1, row.to})
		if (reason == "") != row.allowed {
			t.Errorf("%s imports %s: allowed is %v, want %v (%s)", row.file, row.to, reason == "", row.allowed, reason)
		}
	}
}

// TestPlanGoesOneWay shows that the plan itself has no circle: otherwise a later
// room could reach an earlier one with every single import allowed.
func TestPlanGoesOneWay(t *testing.T) {
	plan := rooms()
	state := map[string]int{} // 1 on the way, 2 done
	var visit func(p string, way []string)
	visit = func(p string, way []string) {
		if state[p] == 2 {
			return
		}
		if state[p] == 1 {
			t.Fatalf("circle in the plan: %s", strings.Join(append(way, p), " -> "))
		}
		state[p] = 1
		r, _ := roomOf(p)
		for _, pattern := range strings.Fields(r.ours) {
			for _, other := range plan {
				// Rooms named together, as app/..., may know each other.
				if other.path != p && within(other.path, pattern) && !within(p, pattern) {
					visit(other.path, append(way, p))
				}
			}
		}
		state[p] = 2
	}
	for _, r := range plan {
		visit(r.path, nil)
	}
}

// TestPlanNamesAreKnown catches a slip of the pen in the table.
func TestPlanNamesAreKnown(t *testing.T) {
	var paths []string
	for _, r := range rooms() {
		if slices.Contains(paths, r.path) {
			t.Errorf("%s has two rows", r.path)
		}
		paths = append(paths, r.path)
	}
	for _, r := range rooms() {
		for _, name := range strings.Fields(r.other) {
			if _, ok := otherModules[name]; !ok {
				t.Errorf("%s: no module is called %q", r.path, name)
			}
		}
		for _, pattern := range strings.Fields(r.ours) {
			if pattern == "-" {
				continue
			}
			if !slices.ContainsFunc(paths, func(p string) bool { return within(strings.TrimSuffix(p, "/..."), pattern) }) {
				t.Errorf("%s: no room is called %q", r.path, pattern)
			}
		}
	}
}

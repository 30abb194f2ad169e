//go:build !headless

package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"rigatino/annotate/project"
	"rigatino/mesh"
	"rigatino/mesh/gltf"
	"rigatino/mesh/solid/bentbody"
)

// elsewhereProject is a project with two scans of the bent body, the later one
// elsewhere and not aligned.
func elsewhereProject(t *testing.T) string {
	t.Helper()
	body := bentbody.New(bodySeed)
	dir := scanProject(t, body.Before(bentbody.Scanning{Triangles: 20000}))
	p, err := project.Open(dir, project.Options{})
	if err != nil {
		t.Fatal(err)
	}
	var buf bytes.Buffer
	if err := gltf.Write(&buf, mesh.Transform(body.After(bentbody.Scanning{Triangles: 20000}), pose().Apply), 1e-3); err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(t.TempDir(), "after.glb")
	if err := os.WriteFile(file, buf.Bytes(), 0o644); err != nil {
		t.Fatal(err)
	}
	if _, err := p.AddScan(context.Background(), project.Adding{Path: file, Stage: "mech_coarse", Date: "2026-03-09"}); err != nil {
		t.Fatal(err)
	}
	if err := errors.Join(p.Save(), p.Close()); err != nil {
		t.Fatal(err)
	}
	return dir
}

// In the task Align one button lays the later scan on the earlier one, both are
// seen on the way, what is left over is coloured at once; a stroke says what carries
// the next fit, and undo takes that back.
func TestAlignByMouseAndKeys(t *testing.T) {
	b := &bench{t: t, display: display(t)}
	b.open(elsewhereProject(t))
	b.do("mousemove", "432", "777", "click", "1") // Change holds the date before
	b.wait("hold")
	b.wait("loaded")
	b.do("mousemove", "311", "777", "click", "1")
	if e := b.wait("task"); e["task"] != "Align" {
		t.Fatalf("task %v", e)
	}
	b.wait("frame")
	b.do("mousemove", "1215", "728", "click", "1") // Find the fit
	b.wait("drifting")
	if e := b.wait("aligned"); e["verdict"] != "accepted" {
		t.Fatalf("aligned: %v", e)
	}
	if e := b.wait("leftover"); e["on"] != true || !(e["full_mm"].(float64) > e["smallest_mm"].(float64)) {
		t.Fatalf("left over: %v", e)
	}
	b.wait("frame")
	b.do("mousemove", "1115", "728", "click", "1") // Hide leftover
	if e := b.wait("leftover"); e["on"] != false {
		t.Fatalf("hidden: %v", e)
	}
	b.wait("frame")
	b.do("mousemove", "570", "611", "click", "1") // Trust this area
	if e := b.wait("fit brush"); e["trust"] != true || e["on"] != "mech_coarse/body/whole" {
		t.Fatalf("brush: %v", e)
	}
	b.wait("frame")
	b.drag("1", [2]int{480, 360}, [2]int{530, 370})
	if e := b.wait("fit stroke"); !(e["trust_mm2"].(float64) > 50) || e["never_mm2"] != 0.0 {
		t.Fatalf("stroke: %v", e)
	}
	b.do("key", "ctrl+z")
	if e := b.wait("undo"); !strings.HasPrefix(fmt.Sprint(e["label"]), "marked what carries the fit") {
		t.Fatalf("undone: %v", e)
	}
}

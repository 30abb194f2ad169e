//go:build !headless

package main

import (
	"bytes"
	"context"
	"errors"
	"os"
	"path/filepath"
	"testing"

	"rigatino/annotate"
	"rigatino/annotate/project"
	"rigatino/mesh"
	"rigatino/mesh/frame"
	"rigatino/mesh/gltf"
	"rigatino/mesh/solid"
	"rigatino/mesh/solid/bentbody"
)

// pairProject is a project with two scans of the bent body, aligned.
func pairProject(t *testing.T) string {
	t.Helper()
	body := bentbody.New(1)
	dir := scanProject(t, body.Before(bentbody.Scanning{Triangles: 20000}))
	p, err := project.Open(dir, project.Options{})
	if err != nil {
		t.Fatal(err)
	}
	var buf bytes.Buffer
	if err := gltf.Write(&buf, body.After(bentbody.Scanning{Triangles: 20000}), 1e-3); err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(t.TempDir(), "after.glb")
	if err := os.WriteFile(file, buf.Bytes(), 0o644); err != nil {
		t.Fatal(err)
	}
	added, err := p.AddScan(context.Background(), project.Adding{Path: file, Stage: "mech_coarse", Date: "2026-03-09"})
	if err != nil {
		t.Fatal(err)
	}
	err = p.Edit("aligned", func(r *annotate.Record) error {
		var c [36]float64
		for k := range 6 {
			c[7*k] = 1e-12 // a millionth of a radian, a millionth of a millimetre
		}
		r.Use(added.Use.Key()).Alignment = &annotate.Alignment{To: "received/body/whole", ScanToPiece: frame.Identity().Matrix(), Verdict: annotate.VerdictAccepted, Reason: "as made", Covariance: c[:]}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if err := errors.Join(p.Save(), p.Close()); err != nil {
		t.Fatal(err)
	}
	return dir
}

// ballProject is a project with one scan, a ball of 40 mm radius.
func ballProject(t *testing.T) string {
	t.Helper()
	return scanProject(t, solid.Icosphere(6, 40))
}

// scanProject is a project with one scan.
func scanProject(t *testing.T, m *mesh.Mesh) string {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "ball.rigatino")
	p, err := project.New(dir, annotate.Specimen{CatalogueNumber: "TVM 7", Title: "a ball"})
	if err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(t.TempDir(), "ball.glb")
	var buf bytes.Buffer
	if err := gltf.Write(&buf, m, 1e-3); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(file, buf.Bytes(), 0o644); err != nil {
		t.Fatal(err)
	}
	if _, err := p.AddScan(context.Background(), project.Adding{Path: file, Stage: "received", Date: "2026-03-02"}); err != nil {
		t.Fatal(err)
	}
	if err := p.Save(); err != nil {
		t.Fatal(err)
	}
	if err := p.Close(); err != nil {
		t.Fatal(err)
	}
	return dir
}

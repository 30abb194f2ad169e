// Package interop runs outside programs over the files that Rigatino writes:
// the Khronos glTF validator and glTF-Transform, a glTF reader that is not ours;
// and it makes test vectors with the reference encoder of packed meshes.
// They are Node packages, pinned in package-lock.json beside this file and
// installed once into node_modules, which is not kept in the repository.
//
// Where Node or the packages are not to be had the test is skipped with a word;
// under CI=true that is a failure, so that no check is lost unseen.
package interop

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"testing"
)

// Message is one issue that the validator found.
type Message struct {
	Code     string `json:"code"`
	Severity int    `json:"severity"` // 0 error, 1 warning, 2 info, 3 hint
	Pointer  string `json:"pointer"`
	Message  string `json:"message"`
}

// Validation is what the validator says of one file.
type Validation struct {
	File     string    `json:"file"`
	Errors   int       `json:"errors"`
	Warnings int       `json:"warnings"`
	Infos    int       `json:"infos"`
	Messages []Message `json:"messages"`
}

// Figures are what glTF-Transform finds in the default scene of a file: metres,
// world frame, node transforms applied, volume signed and about zero.
type Figures struct {
	File      string     `json:"file"`
	Triangles int        `json:"triangles"`
	Segments  int        `json:"segments"`
	Area      float64    `json:"area"`
	Volume    float64    `json:"volume"`
	Min       [3]float64 `json:"min"`
	Max       [3]float64 `json:"max"`
	Materials []string   `json:"materials"`
	Images    []int      `json:"images"`  // bytes of each
	Colours   int        `json:"colours"` // vertices with COLOR_0, per primitive
}

// Validate runs the glTF validator.
func Validate(t testing.TB, files ...string) []Validation {
	t.Helper()
	var out []Validation
	runNode(t, "validate.mjs", files, &out)
	return out
}

// ValidateClean fails the test unless every file has 0 errors and 0 warnings.
func ValidateClean(t testing.TB, files ...string) []Validation {
	t.Helper()
	all := Validate(t, files...)
	if len(all) != len(files) {
		t.Fatalf("the validator reported on %d of %d files", len(all), len(files))
	}
	for _, v := range all {
		if v.Errors == 0 && v.Warnings == 0 {
			continue
		}
		t.Errorf("%s: %d errors, %d warnings", filepath.Base(v.File), v.Errors, v.Warnings)
		for i, m := range v.Messages {
			if m.Severity < 2 && i < 20 {
				t.Errorf("  %s at %s: %s", m.Code, m.Pointer, m.Message)
			}
		}
	}
	return all
}

// Measure reads files with glTF-Transform.
func Measure(t testing.TB, files ...string) []Figures {
	t.Helper()
	var out []Figures
	runNode(t, "measure.mjs", files, &out)
	if len(out) != len(files) {
		t.Fatalf("glTF-Transform reported on %d of %d files", len(out), len(files))
	}
	return out
}

// Packed is a test vector of EXT_meshopt_compression: what the reference encoder
// made and the reference decoder unpacked.
type Packed struct {
	Name     string `json:"name"`
	Mode     string `json:"mode"`
	Filter   string `json:"filter"`
	Count    int    `json:"count"`
	Stride   int    `json:"stride"`
	Packed   []byte `json:"packed"`
	Unpacked []byte `json:"unpacked"`
}

// PackedVectors makes the vectors with the npm package meshoptimizer.
func PackedVectors(t testing.TB) []Packed {
	t.Helper()
	var out []Packed
	runNode(t, "vectors.mjs", nil, &out)
	return out
}

// runNode runs a script of this folder and decodes what it prints. The script's
// own verdict, its exit code, is left to the caller.
func runNode(t testing.TB, script string, args []string, out any) {
	t.Helper()
	dir := folder(t)
	install(t, dir)
	cmd := exec.Command("node", append([]string{filepath.Join(dir, script)}, args...)...)
	cmd.Stderr = os.Stderr
	text, err := cmd.Output()
	var code *exec.ExitError
	if err != nil && (!errors.As(err, &code) || len(text) == 0) {
		t.Fatalf("%s: %v", script, err)
	}
	if err := json.Unmarshal(text, out); err != nil {
		t.Fatalf("%s printed what is not JSON: %v", script, err)
	}
}

func folder(t testing.TB) string {
	t.Helper()
	_, here, _, ok := runtime.Caller(0)
	if !ok {
		t.Fatal("interop: the source file's own path is not known")
	}
	return filepath.Dir(here)
}

// install runs npm ci once for each state of package-lock.json. Tests of several
// packages run at once: a lock on package.json lets one install and the others
// wait.
func install(t testing.TB, dir string) {
	t.Helper()
	for _, program := range []string{"node", "npm"} {
		if _, err := exec.LookPath(program); err != nil {
			missing(t, "%s is not installed: outside checks of glTF files skipped", program)
		}
	}
	unlock, err := lock(filepath.Join(dir, "package.json"))
	if err != nil {
		t.Fatal(err)
	}
	defer unlock()
	pinned, err := os.ReadFile(filepath.Join(dir, "package-lock.json"))
	if err != nil {
		t.Fatal(err)
	}
	sum := sha256.Sum256(pinned)
	want := hex.EncodeToString(sum[:])
	stamp := filepath.Join(dir, "node_modules", ".installed")
	if have, err := os.ReadFile(stamp); err == nil && string(have) == want {
		return
	}
	cmd := exec.Command("npm", "ci", "--ignore-scripts")
	cmd.Dir = dir
	if text, err := cmd.CombinedOutput(); err != nil {
		missing(t, "npm ci did not work, outside checks of glTF files skipped: %v\n%s", err, text)
	}
	if err := os.WriteFile(stamp, []byte(want), 0o666); err != nil {
		t.Fatal(err)
	}
}

// missing skips, or fails under CI=true.
func missing(t testing.TB, format string, args ...any) {
	t.Helper()
	if os.Getenv("CI") == "true" {
		t.Fatalf(format, args...)
	}
	t.Skipf(format, args...)
}

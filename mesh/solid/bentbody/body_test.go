package bentbody

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
)

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s = %.12g, want %.12g ± %g", what, got, want, tolerance)
	}
}

// The figures are the truth file of a C++ program of this project that makes
// the same body (gen_mesh, splitmix64, seed 1), printed to ten digits.
func TestExactVolumes(t *testing.T) {
	b := New(1)
	near(t, "body", b.VolumeMM3(), 293729.4782, 5e-5)
	for i, want := range []float64{754.246310106, 232.05086999, 1111.29129656, -149.926384309} {
		near(t, "change", b.Changes[i].VolumeMM3(), want, 1e-8)
	}
	near(t, "removed", b.RemovedMM3(), 2097.588477, 5e-7)
	near(t, "added", b.AddedMM3(), 149.9263843, 5e-8)
}

// Volumes and areas of the triangle meshes before noise, same source, made
// with 100 000 and (in the long table only) a million triangles.
func TestMeshesMatch(t *testing.T) {
	for _, row := range []struct {
		triangles, faces, vertices                       int
		beforeVolume, afterVolume, beforeArea, afterArea float64
	}{
		{100000, 100820, 50412, 293675.2088, 291725.8914, 32238.69929, 32194.57059},
		{1000000, 1003520, 501762, 293723.9661, 291776.1375, 32322.65374, 32278.72007},
	} {
		if row.triangles > 100000 && testing.Short() {
			continue
		}
		for _, after := range []bool{false, true} {
			p, f := New(1).points(Scanning{Triangles: row.triangles}, after)
			if len(p) != row.vertices || len(f) != 3*row.faces {
				t.Fatalf("%d vertices, %d faces, want %d, %d", len(p), len(f)/3, row.vertices, row.faces)
			}
			volume := mesh.SumBlocks(row.faces, func(i int) float64 {
				return r3.Dot(p[f[3*i]], r3.Cross(p[f[3*i+1]], p[f[3*i+2]])) / 6
			})
			area := mesh.SumBlocks(row.faces, func(i int) float64 {
				a := p[f[3*i]]
				return r3.Norm(r3.Cross(r3.Sub(p[f[3*i+1]], a), r3.Sub(p[f[3*i+2]], a))) / 2
			})
			wantVolume, wantArea := row.beforeVolume, row.beforeArea
			if after {
				wantVolume, wantArea = row.afterVolume, row.afterArea
			}
			near(t, "volume", volume, wantVolume, 5.1e-5)
			near(t, "area", area, wantArea, 5.1e-6)
		}
	}
}

// Vertices of the same program's files at 100 000 triangles and 0.01 mm noise,
// float32 in mm: the generator and every point match to rounding.
func TestNoisyVerticesMatch(t *testing.T) {
	before := New(1).Before(Scanning{Triangles: 100000, NoiseMM: 0.01})
	after := New(1).After(Scanning{Triangles: 100000, NoiseMM: 0.01})
	for _, row := range []struct {
		m       *mesh.Mesh
		vertex  uint32
		x, y, z float64
	}{
		{before, 0, -16.896822, 20.0592098, 0.000772196858},
		{before, 11, -21.5274601, -0.000730757078, 45.7272148},
		{before, 500, 7.30256557, 11.3537092, -71.7914581},
		{before, 12345, -24.4139709, 3.40568328, 29.4263668},
		{before, 33333, -9.46570206, -15.7854824, -17.0164108},
		{before, 50411, 31.1154099, 0.286950827, -49.1219215},
		{after, 0, -22.7240257, 9.16946602, 34.6018715},
		{after, 11, -6.98760319, -9.55347824, 56.5704041},
		{after, 500, -13.9322586, 11.5667992, -57.8743095},
		{after, 12345, -14.0979023, -7.98350286, 52.9471321},
		{after, 33333, 1.69190788, -19.4518852, -28.3211327},
		{after, 50411, 19.0471554, 10.9264126, -61.8282127},
	} {
		p := row.m.Vertex(row.vertex)
		near(t, "x", p.X, row.x, 1e-5)
		near(t, "y", p.Y, row.y, 1e-5)
		near(t, "z", p.Z, row.z, 1e-5)
	}
	triangles := [][4]uint32{
		{0, 0, 12, 152},
		{1, 12, 2112, 152},
		{5040, 81, 11, 151},
		{5041, 0, 152, 292},
		{77777, 39391, 39392, 39339},
		{100819, 2042, 8, 1341},
	}
	for _, row := range triangles {
		got := before.Triangles[3*row[0] : 3*row[0]+3]
		if got[0] != row[1] || got[1] != row[2] || got[2] != row[3] {
			t.Errorf("triangle %d = %v, want %v", row[0], got, row[1:])
		}
	}
}

// The noise has the asked spread, and draws differ.
func TestNoise(t *testing.T) {
	clean, _ := New(3).points(Scanning{Triangles: 5000}, true)
	first, _ := New(3).points(Scanning{Triangles: 5000, NoiseMM: 0.05}, true)
	second, _ := New(3).points(Scanning{Triangles: 5000, NoiseMM: 0.05, Draw: 1}, true)
	sum, same := 0.0, 0
	for i, p := range clean {
		sum += r3.Norm2(r3.Sub(first[i], p))
		if first[i] == second[i] {
			same++
		}
	}
	// 2500 draws: the spread is known to 1.4 %.
	near(t, "noise", math.Sqrt(sum/float64(len(clean))), 0.05, 0.0025)
	if same > 0 {
		t.Errorf("%d vertices are the same in two draws", same)
	}
}

package align

import (
	"bytes"
	"compress/gzip"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"layette/engine/step"
	"layette/steps/internal/geom"
	"layette/steps/internal/meshio"
	"layette/steps/internal/steptest"
)

// shot is a scan with the truth about it.
type shot struct {
	name string
	mesh *geom.Mesh
	pose geom.Pose // scan to object
	good bool
	why  string
}

// dataFolder returns the folder of open data, or skips.
func dataFolder(t testing.TB, name string) string {
	t.Helper()
	root := os.Getenv("LAYETTE_DATA")
	if root == "" {
		t.Skip("LAYETTE_DATA is not set: the check against open scans is left out")
	}
	return filepath.Join(root, name)
}

// rabbit reads the ten range scans of the Stanford rabbit with the published
// poses, in mm. bun.conf's quaternions are used with the sign of w turned,
// which is the reading under which 96 % of the points have a neighbour in
// another scan within 1 mm (the data's notes).
func rabbit(t testing.TB) []shot {
	t.Helper()
	dir := dataFolder(t, "stanford-bunny-scans")
	conf, err := os.ReadFile(filepath.Join(dir, "bun.conf"))
	if err != nil {
		t.Fatal(err)
	}
	var shots []shot
	for line := range strings.Lines(string(conf)) {
		var name string
		var m geom.Vec
		var q geom.Quaternion
		if n, _ := fmt.Sscanf(line, "bmesh %s %g %g %g %g %g %g %g", &name, &m.X, &m.Y, &m.Z, &q.X, &q.Y, &q.Z, &q.W); n != 8 {
			continue
		}
		q.W = -q.W
		shots = append(shots, shot{name: name, mesh: readMesh(t, filepath.Join(dir, name+".gz"), 1000), pose: geom.Pose{Rot: q.Rot(), Move: m.Mul(1000)}, good: true})
	}
	return shots
}

func readMesh(t testing.TB, path string, scale float64) *geom.Mesh {
	t.Helper()
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if strings.HasSuffix(path, ".gz") {
		z, err := gzip.NewReader(bytes.NewReader(data))
		if err != nil {
			t.Fatal(err)
		}
		if data, err = io.ReadAll(z); err != nil {
			t.Fatal(err)
		}
	}
	m, _, err := meshio.Read(t.Context(), bytes.NewReader(data), int64(len(data)), meshio.Options{Scale: scale, Workers: 2})
	if err != nil {
		t.Fatal(path, err)
	}
	return m
}

// headViews reads the simulated single scans of a head with their true poses.
func headViews(t testing.TB) []shot {
	t.Helper()
	dir := dataFolder(t, "derived-views-a")
	text, err := os.ReadFile(filepath.Join(dir, "truth.json"))
	if err != nil {
		t.Fatal(err)
	}
	var truth struct {
		Scans []struct {
			File, Label, Why string
			Pose             [][]float64 `json:"true_pose_scanner_to_object_mm"`
		}
	}
	if err := json.Unmarshal(text, &truth); err != nil {
		t.Fatal(err)
	}
	var shots []shot
	for _, s := range truth.Scans {
		c := shot{name: s.File, mesh: readMesh(t, filepath.Join(dir, s.File), 1), good: s.Label != "bad", why: s.Why}
		if s.Pose != nil {
			for i := range 3 {
				copy(c.pose.Rot[i][:], s.Pose[i][:3])
			}
			c.pose.Move = geom.Vec{X: s.Pose[0][3], Y: s.Pose[1][3], Z: s.Pose[2][3]}
		}
		shots = append(shots, c)
	}
	return shots
}

// plyOf returns a mesh as an input file.
func plyOf(t testing.TB, name string, m *geom.Mesh) step.File {
	t.Helper()
	var b bytes.Buffer
	if err := meshio.WritePLY(&b, m); err != nil {
		t.Fatal(err)
	}
	return steptest.File(name, b.Bytes(), "mm")
}

// thrown returns m turned and moved at random, and how.
func thrown(m *geom.Mesh, r *rand.Rand) (*geom.Mesh, geom.Pose) {
	p := geom.Pose{Rot: geom.Quaternion{W: r.NormFloat64(), X: r.NormFloat64(), Y: r.NormFloat64(), Z: r.NormFloat64()}.Rot(),
		Move: geom.Vec{X: 200 * (r.Float64() - 0.5), Y: 200 * (r.Float64() - 0.5), Z: 200 * (r.Float64() - 0.5)}}
	out := &geom.Mesh{Tris: m.Tris, Verts: make([]geom.Point, len(m.Verts))}
	for i, v := range m.Verts {
		out.Verts[i] = p.Apply(v.Vec().Add(m.Origin)).Point()
	}
	return out, p
}

func apartPose(p, q geom.Pose, at geom.Vec) (deg, mm float64) {
	r := geom.Pose{Rot: p.Rot.Transposed().Mul(q.Rot)}
	return r.Turn() * 180 / math.Pi, p.Apply(at).Sub(q.Apply(at)).Len()
}

func newNoise(seed uint64) *rand.Rand { return rand.New(rand.NewPCG(seed, 5)) }

package merge

import (
	"bytes"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"testing"

	"layette/engine/step"
	"layette/steps/internal/geom"
	"layette/steps/internal/meshio"
	"layette/steps/internal/poses"
	"layette/steps/internal/steptest"
)

// derived is the open data set of simulated views of a scanned head: its truth
// lists for each file whether it is good and where it lies.
type derived struct {
	Scans []struct {
		File  string
		Label string
		Pose  [][]float64 `json:"true_pose_scanner_to_object_mm"`
	}
}

// views returns the good scans with their true poses, and the reference.
func views(t testing.TB) ([]step.File, poses.Table, *geom.Mesh) {
	t.Helper()
	dir := os.Getenv("LAYETTE_DATA")
	if dir == "" {
		t.Skip("LAYETTE_DATA is not set: NOT TESTED on derived-views-a")
	}
	read := func(name string) []byte {
		data, err := os.ReadFile(filepath.Join(dir, "derived-views-a", name))
		if err != nil {
			t.Fatal(err)
		}
		return data
	}
	var truth derived
	if err := json.Unmarshal(read("truth.json"), &truth); err != nil {
		t.Fatal(err)
	}
	var files []step.File
	var table poses.Table
	for _, s := range truth.Scans {
		if s.Label != "good" {
			continue
		}
		f := steptest.File(s.File, read(s.File), "mm")
		files = append(files, f)
		pose := geom.Pose{Move: geom.Vec{X: s.Pose[0][3], Y: s.Pose[1][3], Z: s.Pose[2][3]}}
		for i := range 3 {
			copy(pose.Rot[i][:], s.Pose[i][:3])
		}
		table.Scans = append(table.Scans, poses.At(f, pose))
	}
	data := read("reference_object.ply")
	ref, _, err := meshio.Read(t.Context(), bytes.NewReader(data), int64(len(data)), meshio.Options{})
	if err != nil {
		t.Fatal(err)
	}
	return files, table, ref
}

// tableFile is a table of places as a job's input.
func tableFile(t testing.TB, table poses.Table) []step.File {
	t.Helper()
	var b bytes.Buffer
	if err := poses.Write(&b, table); err != nil {
		t.Fatal(err)
	}
	return []step.File{steptest.File("poses.json", b.Bytes(), "")}
}

// surfaceOf reads the surface that a run gave.
func surfaceOf(t testing.TB, r *steptest.Result) (*geom.Mesh, []float32) {
	t.Helper()
	data := r.Files["surface/merged.ply"]
	m, info, err := meshio.Read(t.Context(), bytes.NewReader(data), int64(len(data)), meshio.Options{Columns: []string{"disagree"}})
	if err != nil {
		t.Fatal(err)
	}
	return m, info.Columns[0].Values
}

// TestDerivedViews joins the fourteen good views by their true poses: where it
// was seen the surface lies within 0.06 mm RMS of the object the views were
// made from, and the share of the object that no scan saw comes out within two
// points of what the scans' own points say.
func TestDerivedViews(t *testing.T) {
	files, table, ref := views(t)
	in := map[string][]step.File{"scans": files, "poses": tableFile(t, table)}
	r := steptest.Run(t, Kind{}, steptest.Given{Inputs: in, Values: step.Values{"voxel": 0.6}})
	m, _ := surfaceOf(t, r)
	tree, err := geom.NewTree(t.Context(), ref, 2)
	if err != nil {
		t.Fatal(err)
	}
	edges, err := ref.Edges(t.Context(), 2)
	if err != nil {
		t.Fatal(err)
	}
	rim := onRim(ref, edges)
	var square, skin geom.Sum
	worst, across := 0.0, 0.0 // across the skin alone: not beyond the end of the object
	for i, tri := range m.Tris {
		a, b, c := m.Corners(i)
		third := b.Sub(a).Cross(c.Sub(a)).Len() / 6
		for _, v := range tri {
			if m.Seen[v] == 0 {
				continue
			}
			hit, _ := tree.Closest(m.Verts[v].Vec(), math.Inf(1))
			worst = max(worst, math.Sqrt(hit.Dist2))
			if on := ref.Tris[hit.Tri]; !rim[on[0]] && !rim[on[1]] && !rim[on[2]] {
				across = max(across, math.Sqrt(hit.Dist2))
			}
			square.Add(third * hit.Dist2)
			skin.Add(third)
		}
	}
	rms := math.Sqrt(square.Total() / skin.Total())
	t.Logf("RMS %.4f mm, worst %.3f mm, %.3f away from the end of the object, %d triangles, %v", rms, worst, across, len(m.Tris), r.Measures)
	if rms > 0.06 || across > 0.7 {
		t.Errorf("RMS %.4f mm from the reference, want 0.06; a vertex %.2f mm off", rms, across)
	}
	byPoints := share(t, ref, func() *geom.PointTree {
		var pts []geom.Point
		for i, f := range files {
			s := readFile(t, f)
			for _, p := range s.Verts {
				pts = append(pts, table.Scans[i].Pose().Apply(p.Vec().Add(s.Origin)).Point())
			}
		}
		tree, err := geom.NewPointTree(t.Context(), pts, 2)
		if err != nil {
			t.Fatal(err)
		}
		return tree
	}(), 1)
	mine, err := geom.NewPointTree(t.Context(), m.Verts, 2)
	if err != nil {
		t.Fatal(err)
	}
	bySurface := share(t, ref, mine, 1)
	t.Logf("unseen by the points %.2f %%, by the surface %.2f %%", 100*byPoints, 100*bySurface)
	if !(math.Abs(byPoints-bySurface) <= 0.02) {
		t.Errorf("unseen: %.4f of the reference, the scans' own points say %.4f", bySurface, byPoints)
	}
}

// TestDerivedClosed: closed, the same head has its neck open and nothing else: backs of
// ears and nostrils are invented, little of the skin in all.
func TestDerivedClosed(t *testing.T) {
	files, table, _ := views(t)
	in := map[string][]step.File{"scans": files, "poses": tableFile(t, table)}
	r := steptest.Run(t, Kind{}, steptest.Given{Inputs: in, Values: step.Values{"voxel": 0.6, "unseen": "closed", "opening": 60.0}})
	t.Logf("%v", r.Measures)
	if r.Measures["open.rims"] != int64(1) || r.Measures["invented.share"].(float64) > 0.02 {
		t.Errorf("measures %v, notes %q", r.Measures, r.Notes)
	}
}

func readFile(t testing.TB, f step.File) *geom.Mesh {
	t.Helper()
	r, err := f.Open()
	if err != nil {
		t.Fatal(err)
	}
	m, _, err := meshio.Read(t.Context(), r, f.Size, meshio.Options{})
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// share returns the share of m's skin with no point of tree within limit mm, by
// the middles of its triangles cut in sixteen.
func share(t testing.TB, m *geom.Mesh, tree *geom.PointTree, limit float64) float64 {
	var all, far float64
	for i := range m.Tris {
		a, b, c := m.Corners(i)
		area := b.Sub(a).Cross(c.Sub(a)).Len() / 2
		all += area
		if tree.Nearest(a.Add(b).Add(c).Mul(1.0/3), limit).ID < 0 {
			far += area
		}
	}
	return far / all
}

package merge

import (
	"bytes"
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"layette/engine/step"
	"layette/steps/internal/geom"
	"layette/steps/internal/meshio"
	"layette/steps/internal/poses"
	"layette/steps/internal/steptest"
	"layette/steps/specimen"
)

func scanFile(t testing.TB, name string, m *geom.Mesh) step.File {
	t.Helper()
	var b bytes.Buffer
	if err := meshio.WritePLY(&b, m); err != nil {
		t.Fatal(err)
	}
	return steptest.File(name, b.Bytes(), "mm")
}

// globe is a scan of a ball about zero from the direction dir at 300 mm, exact
// to float32, of all that is seen within about 60 degrees of square on, with its pose.
func globe(radius, pitch float64, dir geom.Vec) (*geom.Mesh, geom.Pose) {
	z := dir.Unit().Mul(-1)
	x := z.Cross(geom.Vec{X: 0.3, Y: 0.5, Z: 0.81}).Unit()
	y := z.Cross(x)
	pose := geom.Pose{Rot: geom.Mat{{x.X, y.X, z.X}, {x.Y, y.Y, z.Y}, {x.Z, y.Z, z.Z}}, Move: z.Mul(-300)}
	n := int(radius / pitch)
	m := &geom.Mesh{}
	at := map[[2]int]int32{}
	for j := -n; j <= n; j++ {
		for i := -n; i <= n; i++ {
			u, v := float64(i)*pitch, float64(j)*pitch
			if r2 := u*u + v*v; r2 < 0.75*radius*radius {
				at[[2]int{i, j}] = int32(len(m.Verts))
				m.Verts = append(m.Verts, geom.Vec{X: u, Y: v, Z: 300 - math.Sqrt(radius*radius-r2)}.Point())
			}
		}
	}
	steptest.Web(m, at, n)
	return m, pose
}

// dirs are the six faces and eight corners of a cube.
var dirs = []geom.Vec{{X: 1}, {X: -1}, {Y: 1}, {Y: -1}, {Z: 1}, {Z: -1},
	{X: 1, Y: 1, Z: 1}, {X: -1, Y: 1, Z: 1}, {X: 1, Y: -1, Z: 1}, {X: 1, Y: 1, Z: -1},
	{X: -1, Y: -1, Z: 1}, {X: -1, Y: 1, Z: -1}, {X: 1, Y: -1, Z: -1}, {X: -1, Y: -1, Z: -1}}

func globes(t testing.TB, dirs []geom.Vec) map[string][]step.File {
	in := map[string][]step.File{}
	var table poses.Table
	for i, d := range dirs {
		m, pose := globe(20, 0.6, d)
		f := scanFile(t, fmt.Sprintf("%02d.ply", i), m)
		in["scans"] = append(in["scans"], f)
		table.Scans = append(table.Scans, poses.At(f, pose))
	}
	in["poses"] = tableFile(t, table)
	return in
}

// TestBall: fourteen exact views of a ball of 20 mm join to a closed surface of
// volume 4πr³/3 and area 4πr².
func TestBall(t *testing.T) {
	r := steptest.Run(t, Kind{}, steptest.Given{Inputs: globes(t, dirs), Values: step.Values{"voxel": 0.8}})
	m, disagree := surfaceOf(t, r)
	if !r.Measures["watertight"].(bool) || r.Measures["scans.joined"] != int64(14) {
		t.Fatalf("measures %v, notes %q", r.Measures, r.Notes)
	}
	if v, want := m.Volume(), 4*math.Pi*8000/3; !(math.Abs(v/want-1) <= 1e-3) {
		t.Errorf("volume %.2f, want %.2f", v, want)
	}
	if a, want := m.Area(), 4*math.Pi*400; !(math.Abs(a/want-1) <= 1e-3) {
		t.Errorf("area %.2f, want %.2f", a, want)
	}
	for v, p := range m.Verts {
		if d := math.Abs(p.Vec().Len() - 20); d > 0.01 {
			t.Fatalf("vertex %d lies %.4f mm off the ball", v, d)
		}
		if m.Seen[v] < 2 || disagree[v] > 0.06 {
			t.Fatalf("vertex %d: seen by %d, disagreement %g", v, m.Seen[v], disagree[v])
		}
	}
}

// TestUnseen: without the views from below the cap that none of them sees stays
// open, or is closed and marked; by closed form the share of the ball within
// some angle of the pole is (1 - cos)/2.
func TestUnseen(t *testing.T) {
	up := slices.DeleteFunc(slices.Clone(dirs), func(d geom.Vec) bool { return d.Z < 0 })
	in := globes(t, up)
	open := steptest.Run(t, Kind{}, steptest.Given{Inputs: in, Values: step.Values{"voxel": 0.8}})
	m, _ := surfaceOf(t, open)
	whole := 4 * math.Pi * 400
	// Side views reach 60 degrees round: to 60 below the equator at four places.
	missing := 1 - m.Area()/whole
	if open.Measures["watertight"].(bool) || open.Measures["open.rims"] != int64(1) || missing < 0.05 || missing > 0.2 {
		t.Fatalf("%.3f missing, measures %v", missing, open.Measures)
	}
	closed := steptest.Run(t, Kind{}, steptest.Given{Inputs: in, Values: step.Values{"voxel": 0.8, "unseen": "closed"}})
	m, _ = surfaceOf(t, closed)
	if !closed.Measures["watertight"].(bool) {
		t.Fatalf("measures %v, notes %q", closed.Measures, closed.Notes)
	}
	share := closed.Measures["invented.share"].(float64)
	if !(math.Abs(share-missing) <= 0.04) {
		t.Errorf("invented %.4f of the skin, %.4f is missing", share, missing)
	}
	for v, p := range m.Verts {
		if m.Seen[v] == 0 && p[2] > -8 {
			t.Fatalf("vertex %d at %v was seen and is marked as invented", v, p)
		}
		if d := p.Vec().Len(); d > 20.2 || d < 12 {
			t.Fatalf("vertex %d at %v: invented skin bulges to %.2f of a ball of 20", v, p, d)
		}
	}
}

// TestMisplaced: a shot placed 8 mm off in the air, where five others look
// through, leaves no skin standing there.
func TestMisplaced(t *testing.T) {
	in := globes(t, dirs)
	table, _ := poses.Open(&step.Job{Inputs: in}, "poses")
	stray, pose := globe(20, 0.7, geom.Vec{X: 1, Y: 0.2})
	pose.Move = pose.Move.Add(geom.Vec{X: 1, Y: 0.2}.Unit().Mul(8))
	f := scanFile(t, "stray.ply", stray)
	in["scans"] = append(in["scans"], f)
	table.Scans = append(table.Scans, poses.At(f, pose))
	in["poses"] = tableFile(t, table)
	r := steptest.Run(t, Kind{}, steptest.Given{Inputs: in, Values: step.Values{"voxel": 0.8}})
	if r.Measures["carved"].(int64) < 500 || len(r.Notes) == 0 || !strings.Contains(r.Notes[0], "misplaced") {
		t.Errorf("carved %v, notes %q", r.Measures["carved"], r.Notes)
	}
	m, _ := surfaceOf(t, r)
	out := 0
	for _, p := range m.Verts {
		if p.Vec().Len() > 20.5 {
			out++
		}
	}
	if out > len(m.Verts)/200 {
		t.Errorf("%d of %d vertices still stand in the air", out, len(m.Verts))
	}
}

// TestHand joins a session of noisy shots of a hand by their true poses: half
// of the surface lies within half the noise of the hand, by its exact field.
func TestHand(t *testing.T) {
	for _, noise := range []float64{0.1} {
		in, part := session(t, "right-hand", 20, specimen.Scanner{Pitch: 0.5, Noise: noise, Wide: 60, High: 60})
		r := steptest.Run(t, Kind{}, steptest.Given{Inputs: in, Values: step.Values{"voxel": 0.6}})
		m, _ := surfaceOf(t, r)
		var off []float64
		for _, p := range m.Verts {
			d, _ := part.Field.At(p.Vec())
			off = append(off, math.Abs(d))
		}
		slices.Sort(off)
		half, most := off[len(off)/2], off[len(off)*95/100]
		t.Logf("noise %.2f (found %.3f): half within %.4f, 95 %% within %.4f, worst %.3f; %v", noise, r.Measures["noise"], half, most, off[len(off)-1], r.Measures)
		if half > noise/2 {
			t.Errorf("half of the skin lies within %.4f mm, want %.4f", half, noise/2)
		}
		if found := r.Measures["noise"].(float64); !(math.Abs(found-noise) <= 0.35*noise) {
			t.Errorf("the scans' noise comes out as %.4f, it is %.2f", found, noise)
		}
	}
}

// session takes good shots of a part with true poses.
func session(t testing.TB, name string, shots int, scanner specimen.Scanner) (map[string][]step.File, *specimen.Part) {
	t.Helper()
	part := steptest.Part(t, specimen.Options{Plain: true}, name)
	in := map[string][]step.File{}
	var table poses.Table
	s := specimen.Session{Scanner: scanner, Shots: shots, Seed: 3}
	err := s.Run(t.Context(), part, func(c specimen.Scan) error {
		f := scanFile(t, c.Name+".ply", c.Mesh)
		in["scans"] = append(in["scans"], f)
		table.Scans = append(table.Scans, poses.At(f, c.Pose))
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	in["poses"] = tableFile(t, table)
	return in, part
}

// TestSameForAnyNumberOfWorkers, and for any order of the files but for the
// rounding of sums.
func TestSameForAnyNumberOfWorkers(t *testing.T) {
	in := globes(t, dirs[:9])
	var first []byte
	for _, workers := range []int{1, 3} {
		r := steptest.Run(t, Kind{}, steptest.Given{Inputs: in, Workers: workers, Values: step.Values{"voxel": 1.0, "unseen": "closed"}})
		if first == nil {
			first = r.Files["surface/merged.ply"]
		} else if !bytes.Equal(first, r.Files["surface/merged.ply"]) {
			t.Error("other bytes with other workers")
		}
	}
}

// TestMovedTogether: the same scans placed elsewhere make the same surface there.
func TestMovedTogether(t *testing.T) {
	in := globes(t, dirs)
	table, err := poses.Open(&step.Job{Inputs: in}, "poses")
	if err != nil {
		t.Fatal(err)
	}
	by := geom.Pose{Rot: geom.SmallTurn(geom.Vec{X: 0.4, Y: 0.2, Z: -0.9}), Move: geom.Vec{X: 31, Y: -7, Z: 12}}
	for i, p := range table.Scans {
		table.Scans[i] = poses.At(in["scans"][i], p.Pose().Then(by))
	}
	in["poses"] = tableFile(t, table)
	r := steptest.Run(t, Kind{}, steptest.Given{Inputs: in, Values: step.Values{"voxel": 0.8}})
	m, _ := surfaceOf(t, r)
	for v, p := range m.Verts {
		if d := math.Abs(p.Vec().Sub(by.Move).Len() - 20); d > 0.01 {
			t.Fatalf("vertex %d lies %.4f mm off the ball", v, d)
		}
	}
}

// TestBadScans: each is left out with a word, and the surface is what it would
// have been without it.
func TestBadScans(t *testing.T) {
	want := steptest.Run(t, Kind{}, steptest.Given{Inputs: globes(t, dirs[:6]), Values: step.Values{"voxel": 1.0}})
	good, pose := globe(20, 0.6, dirs[0])
	mirrored := &geom.Mesh{Verts: good.Verts}
	for _, tri := range good.Tris {
		mirrored.Tris = append(mirrored.Tris, geom.Tri{tri[0], tri[2], tri[1]})
	}
	one := &geom.Mesh{Verts: make([]geom.Point, 3), Tris: []geom.Tri{{0, 1, 2}}}
	far := pose
	far.Move.X += 1e7
	metres := good.Scaled(1000)
	nan := &geom.Mesh{Verts: slices.Clone(good.Verts), Tris: good.Tris}
	for i := range nan.Verts {
		nan.Verts[i][1] = float32(math.NaN())
	}
	for _, tt := range []struct {
		name string
		file step.File
		pose geom.Pose
		says string
	}{
		{"empty", steptest.File("bad.ply", nil, "mm"), pose, "the file is empty"},
		{"points alone", scanFile(t, "bad.ply", &geom.Mesh{Verts: good.Verts}), pose, "no triangles"},
		{"one place", scanFile(t, "bad.ply", one), pose, ""},
		{"not a number", scanFile(t, "bad.ply", nan), pose, "bad"},
		{"turned over", scanFile(t, "bad.ply", mirrored), pose, "faces away from the scanner"},
		{"far away", scanFile(t, "bad.ply", good), far, "look at its unit and its place"},
		{"metres", scanFile(t, "bad.ply", metres), pose, "look at its unit and its place"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			in := globes(t, dirs[:6])
			table, _ := poses.Open(&step.Job{Inputs: in}, "poses")
			table.Scans = append(table.Scans, poses.At(tt.file, tt.pose))
			in["poses"] = tableFile(t, table)
			in["scans"] = append(in["scans"], tt.file)
			r := steptest.Run(t, Kind{}, steptest.Given{Inputs: in, Values: step.Values{"voxel": 1.0}})
			if r.Measures["scans.left-out"] != int64(1) || len(r.Notes) == 0 || !strings.Contains(r.Notes[len(r.Notes)-1], tt.says) {
				t.Errorf("left out %v, notes %q", r.Measures["scans.left-out"], r.Notes)
			}
			if !bytes.Equal(r.Files["surface/merged.ply"], want.Files["surface/merged.ply"]) {
				t.Error("the others were harmed")
			}
		})
	}
}

// TestFlat: one shot of a plate is a surface with a rim; closed, what is marked as
// seen lies on it within an eighth of a voxel.
func TestFlat(t *testing.T) {
	f := scanFile(t, "flat.ply", plate(0.5))
	in := map[string][]step.File{"scans": {f}, "poses": tableFile(t, poses.Table{Scans: []poses.Place{poses.At(f, geom.NoMove)}})}
	for _, unseen := range []string{"open", "closed"} { // nothing can be told of what lies behind
		r := steptest.Run(t, Kind{}, steptest.Given{Inputs: in, Values: step.Values{"voxel": 0.8, "unseen": unseen}})
		out, _ := surfaceOf(t, r)
		for v, p := range out.Verts {
			if out.Seen[v] > 0 && !(math.Abs(float64(p[2])-300) <= 0.1) {
				t.Fatalf("%s: a vertex of a plate lies at %v", unseen, p)
			}
		}
		if a := r.Measures["area"].(float64) - r.Measures["invented.area"].(float64); !(math.Abs(a-1600) <= 120) {
			t.Errorf("%s: %.0f mm² of a plate of 1600: %v, %q", unseen, a, r.Measures, r.Notes)
		}
	}
}

// TestStrays: points a thousand kilometres off in one scan harm nothing.
func TestStrays(t *testing.T) {
	in := globes(t, dirs)
	table, _ := poses.Open(&step.Job{Inputs: in}, "poses")
	m, pose := globe(20, 0.6, dirs[0])
	for i := range 20 {
		m.Verts[50*i] = geom.Point{1e9, -1e9, float32(1e8 * i)}
	}
	in["scans"][0] = scanFile(t, "00.ply", m)
	table.Scans[0] = poses.At(in["scans"][0], pose)
	in["poses"] = tableFile(t, table)
	r := steptest.Run(t, Kind{}, steptest.Given{Inputs: in, Values: step.Values{"voxel": 0.8}})
	out, _ := surfaceOf(t, r)
	if r.Measures["watertight"] != true {
		t.Errorf("%v %q", r.Measures, r.Notes)
	}
	for v, p := range out.Verts {
		if d := math.Abs(p.Vec().Len() - 20); d > 0.02 {
			t.Fatalf("vertex %d lies %.4f mm off the ball", v, d)
		}
	}
}

func TestNothingToJoin(t *testing.T) {
	in := globes(t, dirs[:2])
	table, _ := poses.Open(&step.Job{Inputs: in}, "poses")
	for i, f := range in["scans"] {
		table.Scans[i] = poses.Nowhere(f, "too little overlap")
	}
	in["poses"] = tableFile(t, table)
	_, err := steptest.Try(t, Kind{}, steptest.Given{Inputs: in})
	if err == nil || !strings.Contains(err.Error(), "none of the 2 scans can be joined") || !strings.Contains(err.Error(), "too little overlap") {
		t.Errorf("error %v", err)
	}
}

// TestTooFine: a voxel that would not fit in memory is refused.
func TestTooFine(t *testing.T) {
	p := &placed{patches: []patch{{at: geom.Point{0, 0, 0}, up: geom.Point{0, 0, 1}, wide: 1}, {at: geom.Point{50, 0, 0}, up: geom.Point{0, 0, 1}, wide: 1}}, spacing: 1}
	if err := p.reach(0.02, 0.06); err != nil {
		t.Fatal(err)
	}
	f := &field{Lattice: geom.NewLattice(0.02), scans: []*placed{p}, reach: 0.06, most: 100}
	if err := f.lay(); err == nil || !strings.Contains(err.Error(), "too fine") {
		t.Errorf("error %v", err)
	}
	p.patches[1].wide = 100
	if err := p.reach(0.02, 0.06); err == nil || !strings.Contains(err.Error(), "too fine for points 1 mm apart") {
		t.Errorf("error %v", err)
	}
}

// TestPinned: if it fails, results have changed: raise the version.
func TestPinned(t *testing.T) {
	r := steptest.Run(t, Kind{}, steptest.Given{Inputs: globes(t, dirs[:9]), Values: step.Values{"voxel": 1.0}})
	sum := fmt.Sprintf("%x", sha256.Sum256(r.Files["surface/merged.ply"]))[:16]
	if v := (Kind{}).Handbook().Version; v != 13 || sum != pinned {
		t.Errorf("version %d gives %s, pinned is %s", v, sum, pinned)
	}
}

const pinned = "28d7439b811cd77d"

func TestCancel(t *testing.T) {
	stop := errors.New("stop")
	for _, after := range []int{0, 5, 12} {
		ctx, cancel := context.WithCancelCause(t.Context())
		job := &step.Job{Workers: 2, Values: steptest.Values(t, Kind{}.Handbook(), step.Values{"voxel": 0.8}), Inputs: globes(t, dirs[:6]),
			Progress: &stopper{after: after, stop: func() { cancel(stop) }}}
		if _, err := (Kind{}).Run(ctx, job); !errors.Is(err, stop) {
			t.Errorf("after %d units: error %v, want the cause", after, err)
		}
		cancel(nil)
	}
}

// stopper stops a run after so many units.
type stopper struct {
	after int
	stop  func()
}

func (*stopper) Start(string, int) {}
func (s *stopper) Add(n int) {
	if s.after -= n; s.after <= 0 {
		s.stop()
	}
}

// BenchmarkMerge joins 200 scans of 100,000 points of a ball of 60 mm, a
// newborn's head, at 0.4 mm.
func BenchmarkMerge(b *testing.B) {
	in, points := many(b, 200)
	for b.Loop() {
		steptest.Run(b, Kind{}, steptest.Given{Inputs: in})
	}
	b.ReportMetric(float64(points)*float64(b.N)/b.Elapsed().Seconds()/1e6, "Mpoints/s")
}

// many are scans of about 100,000 points from all round.
func many(b *testing.B, n int) (map[string][]step.File, int) {
	in := map[string][]step.File{}
	var table poses.Table
	points := 0
	golden := math.Pi * (3 - math.Sqrt(5))
	for i := range n {
		z := 1 - (2*float64(i)+1)/float64(n)
		r := math.Sqrt(1 - z*z)
		m, pose := globe(60, 0.292, geom.Vec{X: r * math.Cos(golden*float64(i)), Y: r * math.Sin(golden*float64(i)), Z: z})
		f := scanFile(b, fmt.Sprintf("%03d.ply", i), m)
		in["scans"] = append(in["scans"], f)
		table.Scans = append(table.Scans, poses.At(f, pose))
		points += len(m.Verts)
	}
	in["poses"] = tableFile(b, table)
	return in, points
}

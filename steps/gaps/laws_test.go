package gaps

import (
	"cmp"
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"layette/engine/step"
	"layette/steps/internal/geom"
	"layette/steps/internal/steptest"
)

// twoFingers are limbs of radius 3.5 with 0.8 mm of air between them, on a palm.
func twoFingers() (solid, geom.Vec, geom.Vec) {
	f := join(
		limb(geom.Vec{Y: -2}, geom.Vec{Y: 13}, 3.5, 3.5),
		limb(geom.Vec{X: 7.8, Y: -2}, geom.Vec{X: 7.8, Y: 12}, 3.5, 3.5),
		slab(geom.Vec{X: 3.9, Y: -7}, geom.Vec{X: 8, Y: 6.5, Z: 6}, 3))
	return f, geom.Vec{X: -7, Y: -15, Z: -8}, geom.Vec{X: 15, Y: 18, Z: 8}
}

func mapped(m *geom.Mesh, f func(geom.Vec) geom.Vec) *geom.Mesh {
	out := &geom.Mesh{Tris: append([]geom.Tri(nil), m.Tris...)}
	for _, p := range m.Verts {
		out.Verts = append(out.Verts, f(p.Vec()).Point())
	}
	return out
}

func turnedOver(m *geom.Mesh) *geom.Mesh {
	out := &geom.Mesh{Verts: m.Verts}
	for _, t := range m.Tris {
		out.Tris = append(out.Tris, geom.Tri{t[0], t[2], t[1]})
	}
	return out
}

func renumbered(m *geom.Mesh) *geom.Mesh {
	rng := rand.New(rand.NewPCG(11, 12))
	to := rng.Perm(len(m.Verts))
	out := &geom.Mesh{Verts: make([]geom.Point, len(m.Verts))}
	for i, p := range m.Verts {
		out.Verts[to[i]] = p
	}
	for _, i := range rng.Perm(len(m.Tris)) {
		t := m.Tris[i]
		out.Tris = append(out.Tris, geom.Tri{int32(to[t[1]]), int32(to[t[2]]), int32(to[t[0]])})
	}
	return out
}

// TestLaws: a surface that is moved, turned, mirrored, renumbered, turned inside
// out or made finer has the same gaps.
func TestLaws(t *testing.T) {
	f, lo, hi := twoFingers()
	m := grid(f, lo, hi, 0.5)
	noisy := rand.New(rand.NewPCG(21, 22))
	c, s := math.Sqrt(0.75), 0.5
	tests := []struct {
		name string
		mesh *geom.Mesh
	}{
		{"as it is", m},
		{"moved", mapped(m, func(p geom.Vec) geom.Vec { return p.Add(geom.Vec{X: 310, Y: -87, Z: 55}) })},
		{"turned", mapped(m, func(p geom.Vec) geom.Vec {
			p = geom.Vec{X: c*p.X - s*p.Y, Y: s*p.X + c*p.Y, Z: p.Z}
			return geom.Vec{X: p.X, Y: c*p.Y - s*p.Z, Z: s*p.Y + c*p.Z}
		})},
		{"mirrored", turnedOver(mapped(m, func(p geom.Vec) geom.Vec { return geom.Vec{X: -p.X, Y: p.Y, Z: p.Z} }))},
		{"renumbered", renumbered(m)},
		{"inside out", turnedOver(m)},
		{"finer", finer(m, f)},
		{"noisy by 0.02 mm", mapped(m, func(p geom.Vec) geom.Vec {
			return p.Add(geom.Vec{X: noisy.NormFloat64(), Y: noisy.NormFloat64(), Z: noisy.NormFloat64()}.Mul(0.02))
		})},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			r := measured(t, tt.mesh, nil)
			within := 0.02
			if strings.HasPrefix(tt.name, "noisy") {
				within = 0.15 // the least of a noisy gap is narrower by several times the noise
			}
			if got := r.Measures["air.least"].(float64); !(math.Abs(got-0.8) <= within) {
				t.Errorf("least gap %v, want 0.8", got)
			}
			if got := r.Measures["air.fingers"]; got != int64(1) {
				t.Errorf("%v finger gaps, want 1", got)
			}
			if got := r.Measures["slot.folds"]; got != int64(0) {
				t.Errorf("%v folds, want none", got)
			}
			if got := r.Measures["solid.least"].(float64); !(math.Abs(got-7) <= 0.14+within) {
				t.Errorf("least solid %v, want 7", got)
			}
		})
	}
}

// TestNoiseInventsNothing: a single limb with 0.05 mm of scan noise on triangles
// of 0.25 mm has no gap, no fold and no thin wall.
func TestNoiseInventsNothing(t *testing.T) {
	f := limb(geom.Vec{}, geom.Vec{Y: 12}, 5, 4)
	rng := rand.New(rand.NewPCG(31, 32))
	m := grid(f, geom.Vec{X: -6, Y: -6, Z: -6}, geom.Vec{X: 6, Y: 17, Z: 6}, 0.25)
	m = mapped(m, func(p geom.Vec) geom.Vec {
		return p.Add(geom.Vec{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()}.Mul(0.05))
	})
	r := measured(t, m, step.Values{"fills-solid": true})
	for _, name := range []string{"air.spots", "air.touching", "slot.folds", "crevice.spots"} {
		if r.Measures[name] != int64(0) {
			t.Errorf("%s is %v, want 0", name, r.Measures[name])
		}
	}
	if got := r.Measures["air.least"]; got != 3.0 {
		t.Errorf("least gap %v, want none up to 3", got)
	}
	if got := r.Measures["solid.least"].(float64); got < 7.3 {
		t.Errorf("least solid %v, want about 8", got)
	}
}

// box is twelve triangles.
func box(x, y, z float64) *geom.Mesh {
	m := &geom.Mesh{}
	for i := range 8 {
		m.Verts = append(m.Verts, geom.Vec{X: x * float64(i&1), Y: y * float64(i>>1&1), Z: z * float64(i>>2)}.Point())
	}
	for _, q := range [][4]int32{{0, 2, 3, 1}, {4, 5, 7, 6}, {0, 1, 5, 4}, {1, 3, 7, 5}, {3, 2, 6, 7}, {2, 0, 4, 6}} {
		m.Tris = append(m.Tris, geom.Tri{q[0], q[1], q[2]}, geom.Tri{q[0], q[2], q[3]})
	}
	return m
}

// TestCavityWalls: facing walls of the cavity with a vinyl wall of 2.5 mm. Three
// walls at least, five at best: design notes on rotational moulding
// (firstratemold.com), 7.4 fails, 7.6 is worth a remark, 12.6 passes.
func TestCavityWalls(t *testing.T) {
	for wide, want := range map[float64]string{7.4: "fail", 7.6: "warn", 12.6: "pass"} {
		r := measured(t, box(20, 20, wide), nil)
		if got := r.Measures["cavity.grade"]; got != want {
			t.Errorf("%v mm: %v, want %v (measured %v)", wide, got, want, r.Measures["solid.least"])
		}
		if got := r.Measures["solid.least"].(float64); !(math.Abs(got-wide) <= 0.01) {
			t.Errorf("%v mm is measured as %v", wide, got)
		}
	}
}

// prism is the shape with this outline, counter-clockwise, along z.
func prism(outline [][2]float64, fans [][3]int, long float64) *geom.Mesh {
	m := &geom.Mesh{}
	n := int32(len(outline))
	for _, z := range []float64{0, long} {
		for _, p := range outline {
			m.Verts = append(m.Verts, geom.Vec{X: p[0], Y: p[1], Z: z}.Point())
		}
	}
	for i := range n {
		j := (i + 1) % n
		m.Tris = append(m.Tris, geom.Tri{i, j, j + n}, geom.Tri{i, j + n, i + n})
	}
	for _, f := range fans {
		a, b, c := int32(f[0]), int32(f[1]), int32(f[2])
		m.Tris = append(m.Tris, geom.Tri{a, c, b}, geom.Tri{a + n, b + n, c + n})
	}
	return m
}

// TestCreviceAngle: walls that meet at 44 degrees are a crevice, at 46 they are
// not: under 45 degrees corners bridge (firstratemold.com).
func TestCreviceAngle(t *testing.T) {
	for angle, want := range map[float64]int64{30: 1, 44: 1, 46: 0, 70: 0} {
		half := math.Tan(angle/2*math.Pi/180) * 4 // 4 mm deep
		outline := [][2]float64{{-8, -8}, {8, -8}, {8, 0}, {half, 0}, {0, -4}, {-half, 0}, {-8, 0}}
		m := prism(outline, [][3]int{{0, 1, 4}, {1, 2, 3}, {1, 3, 4}, {0, 4, 5}, {0, 5, 6}}, 8)
		r := measured(t, m, nil)
		if got := r.Measures["crevice.spots"]; got != want {
			t.Errorf("%v degrees: %v crevices, want %v", angle, got, want)
		}
		if got := r.Measures["crevice.least"].(float64); !(math.Abs(got-angle) <= 1) {
			t.Errorf("%v degrees are measured as %v", angle, got)
		}
		if got := r.Measures["air.spots"]; got != int64(0) {
			t.Errorf("%v degrees: %v gaps, want none", angle, got)
		}
	}
}

// TestSlot: a slot 0.8 mm wide in a plate is a fold, as deep against its width
// as it was made, and no gap.
func TestSlot(t *testing.T) {
	for _, deep := range []float64{0.4, 1.2, 2.4, 3.2} {
		outline := [][2]float64{{-10, -10}, {10, -10}, {10, 0}, {0.4, 0}, {0.4, -deep}, {-0.4, -deep}, {-0.4, 0}, {-10, 0}}
		m := prism(outline, [][3]int{{0, 1, 4}, {1, 2, 3}, {1, 3, 4}, {0, 4, 5}, {0, 5, 6}, {0, 6, 7}}, 15)
		r := measured(t, m, nil)
		ratio, want := r.Measures["slot.ratio"].(float64), deep/0.8
		if want < 1 {
			want = 0
		}
		if !(math.Abs(ratio-want) <= 0.05+0.1*want) {
			t.Errorf("%v deep: %.2f times its width, want %.2f", deep, ratio, want)
		}
		if got := r.Measures["air.spots"]; got != int64(0) {
			t.Errorf("%v deep: %v gaps, want none", deep, got)
		}
		faults := 0
		for _, s := range r.Spots {
			if s.What == fold && s.Fault {
				faults++
			}
		}
		if (faults == 1) != (deep/0.8 > 2) {
			t.Errorf("%v deep: %d faulty folds", deep, faults)
		}
	}
}

// TestInsideCorner: a floor and a wall joined by a round have the round's radius.
func TestInsideCorner(t *testing.T) {
	for _, want := range []float64{0.5, 0.8} {
		fillet := func(p geom.Vec) float64 { // a floor and a wall joined by a round of radius want
			x, y := want-p.X, want-p.Y
			if x > 0 && y > 0 {
				return want - math.Sqrt(x*x+y*y)
			}
			return min(p.X, p.Y)
		}
		block := slab(geom.Vec{}, geom.Vec{X: 6, Y: 6, Z: 6}, 2)
		f := func(p geom.Vec) float64 { return max(block(p), fillet(p)) }
		m := finer(grid(f, geom.Vec{X: -8, Y: -8, Z: -8}, geom.Vec{X: 8, Y: 8, Z: 8}, 0.3), f)
		r := measured(t, m, nil)
		curve := r.Measures["corner.curve"].([]float64)
		if len(curve) == 0 || !(math.Abs(curve[1]-want) <= max(0.02, 0.02*want)) {
			t.Errorf("corner of %v mm: curve %v", want, curve)
		}
	}
}

func TestBadInput(t *testing.T) {
	f, lo, hi := twoFingers()
	m := grid(f, lo, hi, 0.5)
	half := &geom.Mesh{Verts: m.Verts}
	for _, tri := range m.Tris {
		if m.Verts[tri[0]][1] > -8 {
			half.Tris = append(half.Tris, tri)
		}
	}
	r := measured(t, half, nil)
	if len(r.Notes) == 0 || !strings.Contains(r.Notes[0], "open") {
		t.Errorf("an open surface passes without a word: %v", r.Notes)
	}
	if got := r.Measures["air.least"].(float64); !(math.Abs(got-0.8) <= 0.02) {
		t.Errorf("least gap of an open surface %v, want 0.8", got)
	}
	half.Tris[7][1], half.Tris[7][2] = half.Tris[7][2], half.Tris[7][1]
	if r = measured(t, half, nil); !strings.Contains(strings.Join(r.Notes, " "), "face against") {
		t.Errorf("a triangle the wrong way round passes without a word: %v", r.Notes)
	}
	_, err := steptest.Try(t, Kind{}, steptest.Given{Inputs: map[string][]step.File{"surface": {steptest.File("a.stl", []byte("solid"), "mm")}}})
	if err == nil || !strings.Contains(err.Error(), "a.stl") {
		t.Errorf("a damaged file: %v", err)
	}
	flat := &geom.Mesh{Verts: []geom.Point{{0, 0, 0}, {1, 0, 0}, {2, 0, 0}}, Tris: []geom.Tri{{0, 1, 2}}}
	if r := measured(t, flat, nil); r.Measures["air.spots"] != int64(0) {
		t.Errorf("a triangle without area has gaps")
	}
	huge := box(1e6, 1e6, 1e6)
	_, err = steptest.Try(t, Kind{}, steptest.Given{Inputs: map[string][]step.File{"surface": {plyFile(t, huge)}}})
	if err == nil || !strings.Contains(err.Error(), "look at every") {
		t.Errorf("a cube of a kilometre: %v", err)
	}
}

// TestPinned pins an outcome: if it changes, raise the handbook's Version.
func TestPinned(t *testing.T) {
	f, lo, hi := twoFingers()
	m := grid(f, lo, hi, 0.8)
	r, again := measured(t, m, nil), measured(t, m, nil)
	lines := ""
	for _, declared := range (Kind{}).Handbook().Measures {
		if x, ok := r.Measures[declared.Name].(float64); ok {
			to := cmp.Or(declared.Resolution, 1)
			lines += fmt.Sprintf("%s %.3f\n", declared.Name, math.Round(x/to)*to)
		} else if !declared.Many {
			lines += fmt.Sprintf("%s %v\n", declared.Name, r.Measures[declared.Name])
		}
	}
	if lines != pinned {
		t.Errorf("version %d gave other measures; now:\n%s", Kind{}.Handbook().Version, lines)
	}
	for _, key := range r.Order {
		if string(r.Files[key]) != string(again.Files[key]) {
			t.Errorf("%s differs between two runs", key)
		}
	}
}

const pinned = `air.least 0.844
air.area 20.990
air.spots 1
air.fingers 1
air.curled 0
air.touching 0
slot.folds 0
slot.ratio 1.860
slot.depth 0.000
crevice.least 180.000
crevice.spots 0
line.count 0
line.width 0.000
line.depth 0.000
corner.least 0.000
corner.spots 0
outside.least 0.133
solid.least 6.929
solid.area 286.720
cavity.walls 2.770
cavity.grade fail
`

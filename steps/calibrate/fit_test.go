package calibrate

import (
	"cmp"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"layette/steps/internal/form"
	"layette/steps/internal/geom"
)

// lump is a closed surface without symmetry, about 34 by 27 by 25 mm, with
// relief of 1 to 6 mm wavelength, 0.03 of it deep either way. Its triangles,
// 20 by the square of n, lie otherwise for every turn.
func lump(n int, turn geom.Vec) *geom.Mesh { return lumpOf(n, turn, 1) }

// lumpOf returns a lump as many times as large, with waves as they are.
func lumpOf(n int, turn geom.Vec, times float64) *geom.Mesh {
	m, rot := ball(n), geom.SmallTurn(turn)
	for i, v := range m.Verts {
		d := rot.Apply(v.Vec())
		r := 1 + 0.15*math.Sin(3*d.X+1) + 0.12*math.Cos(4*d.Y-d.Z) + 0.1*d.X*d.Y
		p := geom.Vec{X: 17 * r * d.X, Y: 12.5 * r * d.Y, Z: 10 * r * d.Z}.Mul(times)
		m.Verts[i] = p.Add(d.Mul(waves(p))).Point()
	}
	return m
}

// waves is the height at a place of relief of 1 to 6 mm wavelength, mm.
func waves(p geom.Vec) (h float64) {
	for k, w := range []float64{1, 1.4, 2, 2.8, 4, 5.6} {
		a := float64(k) * 1.1
		u := math.Cos(a)*p.X + math.Sin(a)*p.Y + 0.6*math.Cos(2*a+1)*p.Z
		h += 0.03 * w * math.Sin(2*math.Pi*u/w+a)
	}
	return h
}

// ball is a ball of radius 1: an icosahedron with sides cut in n.
func ball(n int) *geom.Mesh {
	g := (1 + math.Sqrt(5)) / 2
	ico := &geom.Mesh{}
	for _, s := range [4][2]float64{{1, g}, {-1, g}, {1, -g}, {-1, -g}} {
		for _, p := range []geom.Vec{{X: s[0], Y: s[1]}, {Y: s[0], Z: s[1]}, {X: s[1], Z: s[0]}} {
			ico.Verts = append(ico.Verts, p.Point())
		}
	}
	for a := range ico.Verts {
		for b := range ico.Verts {
			for c := range ico.Verts {
				p, q, r := ico.Verts[a].Vec(), ico.Verts[b].Vec(), ico.Verts[c].Vec()
				near := func(x, y geom.Vec) bool { return math.Abs(x.Sub(y).Len()-2) < 0.01 }
				if a < b && a < c && near(p, q) && near(q, r) && near(r, p) && q.Sub(p).Cross(r.Sub(p)).Dot(p) > 0 {
					ico.Tris = append(ico.Tris, geom.Tri{int32(a), int32(b), int32(c)})
				}
			}
		}
	}
	m := finer(ico, n)
	for i, v := range m.Verts {
		m.Verts[i] = v.Vec().Unit().Point()
	}
	return m
}

// truth is what a simulated sample went through.
type truth struct {
	shrink       [3]float64
	detail       float64 // on the master
	noise        float64 // mm, across the skin
	scatter      float64 // mm, in every direction
	bend         float64 // 1/mm, radius of curvature
	twist        float64 // 1/mm
	flash, holes bool
	hole         float64 // mm: radius of the four holes, 6.5 if not given
	seed         uint64
}

// finer returns m with every side of a triangle cut in k: the same surface.
func finer(m *geom.Mesh, k int) *geom.Mesh {
	f := &geom.Mesh{}
	known := map[[6]int32]int32{}
	for _, t := range m.Tris {
		at := func(i, j int) int32 { // i steps to the second corner, j to the third
			share := [3]int32{int32(k - i - j), int32(i), int32(j)}
			order := []int{0, 1, 2}
			slices.SortFunc(order, func(a, b int) int { return cmp.Compare(t[a], t[b]) })
			key := [6]int32{}
			var p geom.Vec
			for q, o := range order {
				if share[o] > 0 {
					key[2*q], key[2*q+1] = t[o]+1, share[o]
				}
				p = p.Add(m.Verts[t[o]].Vec().Mul(float64(share[o]) / float64(k)))
			}
			if key[0] == 0 {
				key = [6]int32{key[2], key[3], key[4], key[5]}
			}
			if key[0] == 0 {
				key = [6]int32{key[2], key[3], key[4], key[5]}
			}
			if key[2] == 0 {
				key[2], key[3], key[4], key[5] = key[4], key[5], 0, 0
			}
			v, ok := known[key]
			if !ok {
				v = int32(len(f.Verts))
				known[key] = v
				f.Verts = append(f.Verts, p.Point())
			}
			return v
		}
		for i := range k {
			for j := range k - i {
				f.Tris = append(f.Tris, geom.Tri{at(i, j), at(i+1, j), at(i, j+1)})
				if i+j < k-1 {
					f.Tris = append(f.Tris, geom.Tri{at(i+1, j), at(i+1, j+1), at(i, j+1)})
				}
			}
		}
	}
	return f
}

// moulded returns the sample of a lump.
func moulded(t testing.TB, n int, w truth) *geom.Mesh {
	t.Helper()
	return scanned(softFine(t, n, 2, w.detail), w)
}

func softened(t testing.TB, m *geom.Mesh, detail float64) *geom.Mesh {
	t.Helper()
	if detail == 0 {
		return m
	}
	s, err := form.NewSkin(t.Context(), m, 2)
	if err != nil {
		t.Fatal(err)
	}
	p, err := s.SplitAt(t.Context(), s.Places(), detail)
	if err != nil {
		t.Fatal(err)
	}
	return s.CarryMesh(m, p.Form(s.Places()))
}

// softFine is a lump softened on triangles k times as fine, at the vertices of the
// coarser one, so that what softens the sample is not as coarse as its scan.
func softFine(t testing.TB, n, k int, detail float64) *geom.Mesh {
	m := lump(n, elsewhere)
	fine := lump(n*k, elsewhere)
	s := softened(t, fine, detail)
	at := map[geom.Point]int{}
	for i, v := range fine.Verts {
		at[v] = i
	}
	normals := s.VertexNormals()
	out := &geom.Mesh{Tris: m.Tris, Verts: make([]geom.Point, len(m.Verts)), Normals: make([]geom.Point, len(m.Verts))}
	for i, v := range m.Verts {
		j, ok := at[v]
		if !ok {
			t.Fatal("no such vertex")
		}
		out.Verts[i], out.Normals[i] = s.Verts[j], normals[j]
	}
	return out
}

// scanned returns the sample that a softened surface becomes: shrunk, twisted
// and bent, with flash along a seam, scanned with noise, a seventh of it
// missing, and laid elsewhere.
func scanned(m *geom.Mesh, w truth) *geom.Mesh {
	rng := rand.New(rand.NewPCG(w.seed, 7))
	random := func() geom.Vec {
		return geom.Vec{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()}.Unit()
	}
	turn := geom.SmallTurn(geom.Vec{X: rng.Float64() - 0.5, Y: rng.Float64() - 0.5, Z: rng.Float64() - 0.5})
	axis := random()                      // along which it bends
	toward := axis.Cross(random()).Unit() // where it bends to
	across := axis.Cross(toward)
	// The middle of the skin keeps its length when the part bends.
	var middle geom.Vec
	skin := 0.0
	for i := range m.Tris {
		a, b, c := m.Corners(i)
		area := b.Sub(a).Cross(c.Sub(a)).Len()
		middle, skin = middle.Add(a.Add(b).Add(c).Mul(area/3)), skin+area
	}
	middle = middle.Mul(1 / skin)
	normals := m.Normals
	if normals == nil {
		normals = m.VertexNormals()
	}
	out := &geom.Mesh{Tris: m.Tris, Verts: make([]geom.Point, len(m.Verts))}
	seam := random()
	for i, v := range m.Verts {
		p := v.Vec().Sub(middle)
		off := w.noise * rng.NormFloat64()
		if w.flash && math.Abs(p.Dot(seam)) < 0.15 {
			off += 0.4 * rng.Float64()
		}
		p = geom.Vec{X: p.X * (1 - w.shrink[0]), Y: p.Y * (1 - w.shrink[1]), Z: p.Z * (1 - w.shrink[2])}
		x, y, z := p.Dot(axis), p.Dot(across), p.Dot(toward)
		if w.twist != 0 {
			c, s := math.Cos(w.twist*x), math.Sin(w.twist*x)
			y, z = c*y-s*z, s*y+c*z
		}
		if w.bend != 0 { // along axis
			a, r := x*w.bend, 1/w.bend-z
			x, z = r*math.Sin(a), 1/w.bend-r*math.Cos(a)
		}
		p = axis.Mul(x).Add(across.Mul(y)).Add(toward.Mul(z)).Add(normals[i].Vec().Mul(off))
		if w.scatter > 0 {
			p = p.Add(geom.Vec{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()}.Mul(w.scatter))
		}
		out.Verts[i] = turn.Apply(p).Add(geom.Vec{X: 3, Y: -5, Z: 2}).Point()
	}
	if !w.holes {
		return out
	}
	if w.hole == 0 { // four take about a seventh
		w.hole = 6.5
	}
	var tris []geom.Tri
	holes := [4]geom.Vec{}
	for k := range holes {
		holes[k] = out.Verts[rng.IntN(len(out.Verts))].Vec()
	}
	for _, tri := range out.Tris {
		p, gone := out.Verts[tri[0]].Vec(), false
		for _, h := range holes {
			gone = gone || p.Sub(h).Len() < w.hole
		}
		if !gone {
			tris = append(tris, tri)
		}
	}
	used := make([]int32, len(out.Verts))
	cut := &geom.Mesh{}
	for _, tri := range tris {
		for k, v := range tri {
			if used[v] == 0 {
				cut.Verts = append(cut.Verts, out.Verts[v])
				used[v] = int32(len(cut.Verts))
			}
			tri[k] = used[v] - 1
		}
		cut.Tris = append(cut.Tris, tri)
	}
	return cut
}

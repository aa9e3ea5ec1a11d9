package calibrate

import (
	"math"
	"math/rand/v2"
	"testing"

	"layette/steps/internal/form"
	"layette/steps/internal/geom"
)

// lump is a closed surface without symmetry, about 38 by 28 by 22 mm, with
// relief of 1 to 6 mm wavelength.
func lump(n int) *geom.Mesh {
	m := &geom.Mesh{}
	put := func(th, ph float64) {
		d := geom.Vec{X: math.Sin(th) * math.Cos(ph), Y: math.Sin(th) * math.Sin(ph), Z: math.Cos(th)}
		r := 1 + 0.15*math.Sin(3*d.X+1) + 0.12*math.Cos(4*d.Y-d.Z) + 0.1*d.X*d.Y
		p := geom.Vec{X: 17 * r * d.X, Y: 12.5 * r * d.Y, Z: 10 * r * d.Z}
		h := 0.0
		for k, w := range []float64{1.2, 1.7, 2.4, 3.4, 4.8, 6.8} {
			a := float64(k) * 1.1
			u := math.Cos(a)*p.X + math.Sin(a)*p.Y + 0.6*math.Cos(2*a+1)*p.Z
			h += 0.03 * w * math.Sin(2*math.Pi*u/w+a)
		}
		m.Verts = append(m.Verts, p.Add(d.Mul(h*0.5)).Point())
	}
	cols := 2 * n
	put(0, 0)
	for i := 1; i < n; i++ {
		for j := range cols {
			put(math.Pi*float64(i)/float64(n), 2*math.Pi*float64(j)/float64(cols))
		}
	}
	put(math.Pi, 0)
	at := func(i, j int) int32 {
		switch i {
		case 0:
			return 0
		case n:
			return int32(len(m.Verts) - 1)
		}
		return int32(1 + (i-1)*cols + j%cols)
	}
	for i := range n {
		for j := range cols {
			if i > 0 {
				m.Tris = append(m.Tris, geom.Tri{at(i, j), at(i+1, j), at(i, j+1)})
			}
			if i < n-1 {
				m.Tris = append(m.Tris, geom.Tri{at(i, j+1), at(i+1, j), at(i+1, j+1)})
			}
		}
	}
	return m
}

// truth is what a simulated sample went through.
type truth struct {
	shrink [3]float64
	detail float64 // on the master
	noise  float64
	bend   float64 // 1/mm, radius of curvature
	seed   uint64
}

// moulded returns the sample of a master: softened, shrunk, bent, scanned with
// noise, a seventh of it missing, flash along a seam, and laid elsewhere.
func moulded(t testing.TB, m *geom.Mesh, w truth) *geom.Mesh {
	t.Helper()
	rng := rand.New(rand.NewPCG(w.seed, 7))
	s, err := form.NewSkin(t.Context(), m, 2)
	if err != nil {
		t.Fatal(err)
	}
	soft := s.Places()
	if w.detail > 0 {
		p, err := s.SplitAt(t.Context(), soft, w.detail)
		if err != nil {
			t.Fatal(err)
		}
		soft = p.Form(soft)
	}
	out := s.CarryMesh(m, soft)
	turn := geom.SmallTurn(geom.Vec{X: rng.Float64() - 0.5, Y: rng.Float64() - 0.5, Z: rng.Float64() - 0.5})
	normals := out.VertexNormals()
	for i, v := range out.Verts {
		p := v.Vec().Add(normals[i].Vec().Mul(w.noise * rng.NormFloat64()))
		p = geom.Vec{X: p.X * (1 - w.shrink[0]), Y: p.Y * (1 - w.shrink[1]), Z: p.Z * (1 - w.shrink[2])}
		if w.bend != 0 { // along x, about an axis along y
			a, r := p.X*w.bend, 1/w.bend-p.Z
			p.X, p.Z = r*math.Sin(a), 1/w.bend-r*math.Cos(a)
		}
		if math.Abs(p.Y) < 0.15 {
			p = p.Add(normals[i].Vec().Mul(0.4 * rng.Float64()))
		}
		out.Verts[i] = turn.Apply(p).Add(geom.Vec{X: 3, Y: -5, Z: 2}).Point()
	}
	// Four holes take about a seventh.
	var tris []geom.Tri
	holes := [4]geom.Vec{}
	for k := range holes {
		holes[k] = out.Verts[rng.IntN(len(out.Verts))].Vec()
	}
	for _, tri := range out.Tris {
		p, gone := out.Verts[tri[0]].Vec(), false
		for _, h := range holes {
			gone = gone || p.Sub(h).Len() < 6.5
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

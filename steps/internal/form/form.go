// Package form tells the form of a skin from its relief: what is longer along
// the skin than a wavelength from what is shorter. The filter passes a wave of
// length l with the share 2^-(c/l)² at cut-off c, half at l = c, as the
// Gaussian filter of ISO 16610-21 does on profiles.
//
// On a plane that filter is heat flow for the time c² ln 2 / 4 pi²; on a skin
// heat flows along it, by the cotangent Laplacian with lumped areas (U. Pinkall
// and K. Polthier, "Computing discrete minimal surfaces and their conjugates",
// Experimental Mathematics 1993; from memory). The flow is not stepped: its
// exponential is a Chebyshev series (H. Tal-Ezer and R. Kosloff, "An accurate
// and efficient scheme for propagating the time dependent Schrödinger equation",
// J. Chem. Phys. 1984; from memory), cut where the rest is below 1e-7, so that
// no error of the method is left beside that of the triangles, and no sum runs
// over the whole skin: the same bits for any number of workers.
//
// Lengths mm, wavelengths mm along the form.
package form

import (
	"context"
	"errors"
	"math"

	"layette/steps/internal/geom"
)

// time returns how long heat flows for a cut-off, mm².
func time(cutoff float64) float64 {
	return float64(cutoff*cutoff) * (math.Ln2 / (4 * math.Pi * math.Pi))
}

// Transmission returns the share of a wave of the given length that the filter
// passes into the form: 2^-(cutoff/length)².
func Transmission(cutoff, length float64) float64 {
	r := cutoff / length
	return decay(float64(float64(r*r) * math.Ln2))
}

// decay returns e^-x for x >= 0 to 1e-13, of the same bits on every processor.
func decay(x float64) float64 {
	if !(x < 700) {
		return 0
	}
	halved := 0
	for x > 1.0/64 {
		x /= 2
		halved++
	}
	s := 1.0
	for k := 7; k >= 1; k-- {
		s = 1 - float64(x*s)/float64(k)
	}
	for range halved {
		s = float64(s * s)
	}
	return s
}

// Skin is a surface made ready for filtering. Its vertices lie in the order of
// a curve through space; Back tells which of the given mesh each one was.
type Skin struct {
	Mesh *geom.Mesh
	Back []int32
	// Held marks vertices that no filter moves: rims, flat openings, and edges
	// of three triangles or more.
	Held    []bool
	up      []geom.Point // unit directions away from the skin as given
	edges   *geom.Edges
	fan     fan // corners round each vertex
	joined  fan // vertices joined to each by an edge
	workers int
	// For patches: see patches.go.
	wide   float64 // how wide a vertex is, mm, if it is a patch
	many   int     // vertices from which on patches pay
	parted map[float64]*patches
}

// NewSkin makes m ready. m must be welded; vertices that no triangle uses stay
// where they are. Triangles without any area are an error. It takes 200 bytes a
// vertex.
func NewSkin(ctx context.Context, m *geom.Mesh, workers int) (*Skin, error) {
	if !(m.Area() > 0) {
		return nil, errors.New("none of its triangles has any area: there is no skin to tell form and relief of")
	}
	ordered, _, verts := m.Ordered(workers)
	edges, err := ordered.Edges(ctx, workers)
	if err != nil {
		return nil, err
	}
	s := &Skin{Mesh: ordered, Back: verts, edges: edges, workers: max(workers, 1), many: manyVerts, parted: map[float64]*patches{}}
	s.join()
	s.hold()
	s.up = make([]geom.Point, len(s.Held))
	for v, n := range s.Normals(s.Places()) {
		s.up[v] = n.Point()
	}
	if ctx.Err() != nil {
		return nil, context.Cause(ctx)
	}
	return s, nil
}

// Places returns the vertices for computing with.
func (s *Skin) Places() []geom.Vec {
	p := make([]geom.Vec, len(s.Mesh.Verts))
	for i, v := range s.Mesh.Verts {
		p[i] = v.Vec()
	}
	return p
}

// Carry brings one number a vertex of the skin to the order of the given mesh.
func (s *Skin) Carry(x []float64) []float32 {
	back := make([]float32, len(x))
	for i, v := range s.Back {
		back[v] = float32(x[i])
	}
	return back
}

// CarryMesh returns a mesh in the order of given, with the skin's vertices at
// places. Normals are left out, since they change.
func (s *Skin) CarryMesh(given *geom.Mesh, places []geom.Vec) *geom.Mesh {
	m := &geom.Mesh{Verts: make([]geom.Point, len(given.Verts)), Tris: given.Tris, Colours: given.Colours, Seen: given.Seen, Origin: given.Origin}
	for i, v := range s.Back {
		m.Verts[v] = places[i].Point()
	}
	return m
}

// fan lists some numbers for each vertex, such as the corners round it, 3 t + k,
// or the vertices joined to it.
type fan struct{ first, list []int32 }

func newFan(m *geom.Mesh) fan {
	f := fan{first: make([]int32, len(m.Verts)+1), list: make([]int32, 3*len(m.Tris))}
	for _, t := range m.Tris {
		for _, v := range t {
			f.first[v+1]++
		}
	}
	for v := range m.Verts {
		f.first[v+1] += f.first[v]
	}
	at := make([]int32, len(m.Verts))
	copy(at, f.first)
	for t, tri := range m.Tris {
		for k, v := range tri {
			f.list[at[v]] = int32(3*t + k)
			at[v]++
		}
	}
	return f
}

func (f fan) of(v int) []int32 { return f.list[f.first[v]:f.first[v+1]] }

// join finds what lies round each vertex.
func (s *Skin) join() {
	s.fan = newFan(s.Mesh)
	n := len(s.Mesh.Verts)
	s.joined.first = make([]int32, n+1)
	geom.Chunks(n, s.workers, func(lo, hi int) {
		var few [32]int32
		for v := lo; v < hi; v++ {
			s.joined.first[v+1] = int32(len(s.ring(v, few[:0])))
		}
	})
	for v := range n {
		s.joined.first[v+1] += s.joined.first[v]
	}
	s.joined.list = make([]int32, s.joined.first[n])
	geom.Chunks(n, s.workers, func(lo, hi int) {
		for v := lo; v < hi; v++ {
			s.ring(v, s.joined.of(v)[:0])
		}
	})
}

// ring appends the vertices joined to v.
func (s *Skin) ring(v int, ring []int32) []int32 {
	for _, c := range s.fan.of(v) {
		for _, u := range s.Mesh.Tris[c/3] {
			if int(u) != v && find(ring, u) < 0 {
				ring = append(ring, u)
			}
		}
	}
	return ring
}

// Near returns how far p is from the skin about vertex from, with its vertices at
// places, mm: it walks along edges to the vertex nearest to p and looks at the
// triangles round that.
func (s *Skin) Near(places []geom.Vec, p geom.Vec, from int32) float64 {
	best, far := from, places[from].Sub(p).Len2()
	for at := int32(-1); at != best; {
		at = best
		for _, u := range s.joined.of(int(at)) {
			if d := places[u].Sub(p).Len2(); d < far {
				best, far = u, d
			}
		}
	}
	for _, c := range s.fan.of(int(best)) {
		tri := s.Mesh.Tris[c/3]
		q := geom.OnTriangle(p, [3]geom.Vec{places[tri[0]], places[tri[1]], places[tri[2]]})
		far = min(far, q.Sub(p).Len2())
	}
	return math.Sqrt(far)
}

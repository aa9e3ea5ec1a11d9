package geom

import "math"

// Signer tells how far a point lies from a surface and on which side of it.
// It may be asked from any number of goroutines.
//
// At the nearest place stands a direction away from the solid: that of the
// face; at an edge the sum of its faces'; at a corner the sum weighted by the
// faces' angles there. The point is outside where it lies on the side that the
// direction points to. J. A. Bærentzen, H. Aanæs, "Signed distance computation
// using the angle weighted pseudonormal", IEEE TVCG 2005 (from memory). It is
// right for a closed surface that faces outward and does not cross itself;
// where shells overlap, ask Tree.Turns.
type Signer struct {
	tree  *Tree
	edges *Edges
	away  []Point // at each vertex, not of unit length
}

// NewSigner prepares to sign distances to the tree's surface. It takes 12
// bytes a vertex.
func NewSigner(t *Tree, edges *Edges) *Signer {
	m := t.mesh
	sum := make([]Vec, len(m.Verts))
	for k, tri := range m.Tris {
		a, b, c := m.Corners(k)
		n := b.Sub(a).Cross(c.Sub(a)).Unit()
		sum[tri[0]] = sum[tri[0]].Add(n.Mul(angleBetween(b.Sub(a), c.Sub(a))))
		sum[tri[1]] = sum[tri[1]].Add(n.Mul(angleBetween(c.Sub(b), a.Sub(b))))
		sum[tri[2]] = sum[tri[2]].Add(n.Mul(angleBetween(a.Sub(c), b.Sub(c))))
	}
	s := &Signer{tree: t, edges: edges, away: make([]Point, len(sum))}
	for i, v := range sum {
		s.away[i] = v.Point()
	}
	return s
}

// Distance returns the distance in mm from p to the nearest place within
// maxDist, negative inside, with that place; ok is false if there is none.
func (s *Signer) Distance(p Vec, maxDist float64) (dist float64, hit Hit, ok bool) {
	hit, ok = s.tree.Closest(p, maxDist)
	if !ok {
		return math.Inf(1), hit, false
	}
	dist = math.Sqrt(hit.Dist2)
	if p.Sub(hit.Point).Dot(s.Away(hit)) < 0 {
		dist = -dist
	}
	return dist, hit, true
}

// Away returns the direction away from the solid at a place, not of unit length.
func (s *Signer) Away(h Hit) Vec {
	m := s.tree.mesh
	switch h.Feature {
	case OnCornerA, OnCornerB, OnCornerC:
		return s.away[m.Tris[h.Tri][h.Feature-OnCornerA]].Vec()
	case OnEdgeAB, OnEdgeBC, OnEdgeCA:
		return s.awayAtEdge(3*h.Tri + int32(h.Feature-OnEdgeAB))
	}
	return m.direction(h.Tri)
}

func (s *Signer) awayAtEdge(c int32) Vec {
	m := s.tree.mesh
	switch mate := s.edges.Across[c]; {
	case mate >= 0:
		return m.direction(c / 3).Add(m.direction(mate / 3))
	case mate == Rim:
		return m.direction(c / 3)
	default:
		var sum Vec
		for _, d := range s.edges.Fans[-2-mate] {
			sum = sum.Add(m.direction(d / 3))
		}
		return sum
	}
}

// direction returns the unit direction a triangle faces, zero without area.
func (m *Mesh) direction(t int32) Vec {
	a, b, c := m.Corners(int(t))
	return b.Sub(a).Cross(c.Sub(a)).Unit()
}

// angleBetween returns the angle between two directions, radians, to 1e-11,
// by sums, products and square roots alone, which round the same everywhere:
// tan(θ/2) = |u×v| / (|u||v| + u·v), and the arc by its series once halving has
// brought it below a fifth.
func angleBetween(u, v Vec) float64 {
	y, x := u.Cross(v).Len(), u.Len()*v.Len()+u.Dot(v)
	if y == 0 && x <= 0 {
		return math.Pi * b01(u.Dot(v) < 0)
	}
	turned := y > x
	if turned {
		x, y = y, x
	}
	t := y / x
	for range 2 {
		t /= 1 + math.Sqrt(1+float64(t*t))
	}
	q, sum := float64(t*t), 0.0
	for k := 15; k >= 1; k -= 2 {
		sum = 1/float64(k) - float64(q*sum)
	}
	half := 4 * float64(t*sum)
	if turned {
		half = math.Pi/2 - half
	}
	return 2 * half
}

func b01(b bool) float64 {
	if b {
		return 1
	}
	return 0
}

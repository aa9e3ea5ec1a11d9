package geom

import (
	"context"
	"math"
	"slices"
)

// Cloud is a scan thinned to an even spacing: what registration works with.
//
//	Points   #P, mm, about the same zero as the mesh it was made from
//	Normals  #P unit directions away from the skin
//	Rim      #P: the scan ends within about two spacings of the point
//	Tris     none, or the mesh's triangles between the thinned points
type Cloud struct {
	Points  []Point
	Normals []Point
	Rim     []bool
	Tris    []Tri
	Spacing float64 // mm
	// Noise is how far the scan's own points scatter about the thinned
	// surface, mm: 1.4826 times the median distance, the standard deviation if
	// they scatter normally.
	Noise float64
	Tree  *PointTree // over Points; may be nil after Ready
	grid  *pointGrid // over Points; nil where they lie too wide for it
}

// Index makes the trees over the points, which it needs with the spacing alone.
func (c *Cloud) Index(ctx context.Context, workers int) (err error) {
	if c.Tree, err = NewPointTree(ctx, c.Points, workers); err == nil {
		c.grid = newPointGrid(c.Points, thinnedSide*c.Spacing)
	}
	return err
}

// Ready makes what Nearest and Touches need and no more: a third of Index.
func (c *Cloud) Ready(ctx context.Context, workers int) error {
	if c.grid = newPointGrid(c.Points, thinnedSide*c.Spacing); c.grid != nil {
		return nil
	}
	return c.Index(ctx, workers)
}

// Nearest returns the point nearest to q among those within limit mm, or an ID
// of -1.
func (c *Cloud) Nearest(q Vec, limit float64) Near {
	return c.nearest(q, Near{-1, float64(limit * limit)})
}

// nearest returns the nearest point no farther than bound, whose ID is -1.
func (c *Cloud) nearest(q Vec, bound Near) Near {
	if c.grid == nil {
		return c.Tree.named(c.Tree.nearest(q, bound))
	}
	return c.grid.nearest(q, bound)
}

// cell gathers the vertices of one cube of space.
type cell struct {
	key         [3]int32
	sum, normal Vec
	n           int32
}

// Thinned returns m thinned to about one point in each cube of side spacing:
// the mean of the vertices there. Normals are those of the plane through the
// thinned points within 2.5 spacings, on the side to which m's triangles face;
// a mesh without triangles is taken for one shot of a body (see faceOut). Vertices that no triangle uses are left out where there
// are triangles, and so are cubes with hardly a vertex: strays.
//
// Cost: about 30 ms for 100,000 vertices on one processor.
func Thinned(ctx context.Context, m *Mesh, spacing float64, workers int) (*Cloud, error) {
	cells, of := m.cells(spacing)
	cells, of = fullCells(cells, of)
	c := &Cloud{Spacing: spacing, Points: make([]Point, len(cells))}
	for i, s := range cells {
		c.Points[i] = s.sum.Mul(1 / float64(s.n)).Point()
	}
	if err := c.Index(ctx, workers); err != nil {
		return nil, err
	}
	c.Normals, c.Rim = make([]Point, len(cells)), make([]bool, len(cells))
	Chunks(len(cells), workers, func(lo, hi int) {
		var near []Near
		for i := lo; i < hi && ctx.Err() == nil; i++ {
			near = c.plane(i, cells[i].normal, near[:0])
		}
	})
	if ctx.Err() != nil {
		return nil, context.Cause(ctx)
	}
	if len(m.Tris) == 0 {
		c.faceOut()
	}
	c.Noise = c.scatter(m, of)
	c.Tris = thinnedTris(m, of)
	return c, nil
}

// thinnedTris returns the triangles whose corners fell into three cubes, one of
// each kind: vertex clustering, J. Rossignac and P. Borrel, "Multi-resolution
// 3D approximations for rendering complex scenes", 1993 (from memory).
func thinnedTris(m *Mesh, of []int32) []Tri {
	var tris []Tri
	seen := map[Tri]bool{}
	for _, t := range m.Tris {
		a, b, c := of[t[0]], of[t[1]], of[t[2]]
		if a < 0 || b < 0 || c < 0 || a == b || b == c || c == a {
			continue
		}
		for a > b || a > c { // begin with the least, so that equals are equal
			a, b, c = b, c, a
		}
		if k := (Tri{a, b, c}); !seen[k] {
			seen[k] = true
			tris = append(tris, k)
		}
	}
	return tris
}

// cells sums m's vertices and their normals by cube of side spacing, in the
// order in which the vertices meet the cubes; of tells each vertex's cube.
func (m *Mesh) cells(spacing float64) (cells []cell, of []int32) {
	normals := m.areaNormals()
	index := make(map[[3]int32]int32, len(m.Verts)/8)
	of = make([]int32, len(m.Verts))
	for i, p := range m.Verts {
		of[i] = -1
		if normals != nil && normals[i] == (Vec{}) {
			continue
		}
		v := p.Vec()
		var key [3]int32
		if !cubeOf(v, spacing, &key) {
			continue
		}
		k, ok := index[key]
		if !ok {
			k = int32(len(cells))
			index[key] = k
			cells = append(cells, cell{key: key})
		}
		s := &cells[k]
		s.sum = s.sum.Add(v)
		s.n++
		if normals != nil {
			s.normal = s.normal.Add(normals[i])
		}
		of[i] = k
	}
	return cells, of
}

// cubeOf returns the cube that v lies in; false if it is too far away to count.
func cubeOf(v Vec, side float64, key *[3]int32) bool {
	for k, x := range [3]float64{v.X, v.Y, v.Z} {
		q := math.Floor(x / side)
		if !(math.Abs(q) < 1e9) {
			return false
		}
		key[k] = int32(q)
	}
	return true
}

// areaNormals returns for each vertex the sum of its triangles' area vectors,
// triangles stretched over a jump left out; nil if there are no triangles.
func (m *Mesh) areaNormals() []Vec {
	if len(m.Tris) == 0 {
		return nil
	}
	long := m.stretched()
	sum := make([]Vec, len(m.Verts))
	for t, tri := range m.Tris {
		a, b, c := m.Corners(t)
		if max(b.Sub(a).Len2(), c.Sub(b).Len2(), a.Sub(c).Len2()) > long {
			continue
		}
		n := b.Sub(a).Cross(c.Sub(a))
		for _, v := range tri {
			sum[v] = sum[v].Add(n)
		}
	}
	return sum
}

// stretched returns the squared length beyond which an edge spans a jump in
// depth: six times the median edge, sampled. Common practice, no source.
func (m *Mesh) stretched() float64 {
	var len2 []float64
	for t := 0; t < len(m.Tris); t += 1 + len(m.Tris)/5000 {
		a, b, _ := m.Corners(t)
		len2 = append(len2, b.Sub(a).Len2())
	}
	slices.Sort(len2)
	return 36 * len2[len(len2)/2]
}

// fullCells drops cubes with less than a tenth of the usual number of vertices,
// and those with fewer than three others among the 26 about them.
func fullCells(cells []cell, of []int32) ([]cell, []int32) {
	if len(cells) == 0 {
		return cells, of
	}
	counts := make([]int32, len(cells))
	for i, s := range cells {
		counts[i] = s.n
	}
	slices.Sort(counts)
	least := counts[len(counts)/2] / 10
	taken := make(map[[3]int32]bool, len(cells))
	for _, s := range cells {
		taken[s.key] = true
	}
	to := make([]int32, len(cells))
	var kept []cell
	for i, s := range cells {
		to[i] = -1
		if s.n > least && company(taken, s.key) {
			to[i] = int32(len(kept))
			kept = append(kept, s)
		}
	}
	for i, k := range of {
		if k >= 0 {
			of[i] = to[k]
		}
	}
	return kept, of
}

// company reports whether three cubes about the one at key are taken.
func company(taken map[[3]int32]bool, key [3]int32) bool {
	n := 0
	for k := range int32(27) {
		if k != 13 && taken[[3]int32{key[0] + k/9 - 1, key[1] + k/3%3 - 1, key[2] + k%3 - 1}] {
			if n++; n == 3 {
				return true
			}
		}
	}
	return false
}

// plane finds the normal at point i from its neighbours and whether they leave
// a gap round it wide enough for a rim. side tells which way is out.
func (c *Cloud) plane(i int, side Vec, near []Near) []Near {
	p := c.Points[i].Vec()
	near = c.Tree.Gather(p, 2.5*c.Spacing, near)
	if len(near) < 4 {
		c.Rim[i] = true
		c.Normals[i] = side.Unit().Point()
		return near
	}
	n := c.planeNormal(near, p)
	if n.Dot(side) < 0 {
		n = n.Mul(-1)
	}
	c.Normals[i] = n.Point()
	c.Rim[i] = c.gapRound(near, p, n)
	return near
}

// planeNormal returns the direction in which the points spread least.
func (c *Cloud) planeNormal(near []Near, p Vec) Vec {
	var mid Vec
	for _, q := range near {
		mid = mid.Add(c.Points[q.ID].Vec().Sub(p))
	}
	mid = mid.Mul(1 / float64(len(near)))
	var s Mat
	for _, q := range near {
		d := c.Points[q.ID].Vec().Sub(p).Sub(mid)
		s[0][0] += float64(d.X * d.X)
		s[0][1] += float64(d.X * d.Y)
		s[0][2] += float64(d.X * d.Z)
		s[1][1] += float64(d.Y * d.Y)
		s[1][2] += float64(d.Y * d.Z)
		s[2][2] += float64(d.Z * d.Z)
	}
	s[1][0], s[2][0], s[2][1] = s[0][1], s[0][2], s[1][2]
	_, vectors := Eigen3(s)
	return vectors[0]
}

// gapRound reports whether the neighbours leave more than a third of the way
// round p empty. Directions are compared by the perimeter of a square, which
// needs no angle.
func (c *Cloud) gapRound(near []Near, p, n Vec) bool {
	x := n.Cross(Vec{1, 0, 0})
	if math.Abs(n.X) > 0.7 {
		x = n.Cross(Vec{0, 1, 0})
	}
	x = x.Unit()
	y := n.Cross(x)
	var seen uint32 // 24 sectors
	for _, q := range near {
		d := c.Points[q.ID].Vec().Sub(p)
		if d.Len2() < float64(float64(0.3*c.Spacing)*c.Spacing) {
			continue
		}
		s := int(diamond(d.Dot(x), d.Dot(y)) * 6)
		seen |= 1 << min(s, 23)
	}
	gap, most := 0, 0
	for k := range 48 { // twice round, so that a gap over the seam counts whole
		if seen>>(k%24)&1 != 0 {
			gap = 0
			continue
		}
		gap++
		most = max(most, gap)
	}
	return most >= 8
}

// diamond returns the direction of (x, y) as 0 to 4: a quarter turn is one.
func diamond(x, y float64) float64 {
	s := math.Abs(x) + math.Abs(y)
	if s == 0 {
		return 0
	}
	t := y / s
	if x < 0 {
		return 2 - t
	}
	if t < 0 {
		return 4 + t
	}
	return t
}

// faceOut turns the normals of a cloud without triangles to one side, that of
// the scanner: along the direction most of them share, and so that the skin
// bulges towards it over all, as that of a body does.
func (c *Cloud) faceOut() {
	var s Mat
	for _, p := range c.Normals {
		n := [3]float64{float64(p[0]), float64(p[1]), float64(p[2])}
		for i := range 3 {
			for j := range 3 {
				s[i][j] += float64(n[i] * n[j])
			}
		}
	}
	_, axes := Eigen3(s)
	out := axes[2]
	for range 4 { // the mean of normals that face out is nearer to the scanner than what they share
		var mean Vec
		for i, p := range c.Normals {
			if p.Vec().Dot(out) < 0 {
				c.Normals[i] = p.Vec().Mul(-1).Point()
			}
			mean = mean.Add(c.Normals[i].Vec())
		}
		out = mean.Unit()
	}
	if c.bulge() < 0 {
		for i, p := range c.Normals {
			c.Normals[i] = p.Vec().Mul(-1).Point()
		}
	}
}

// bulge is positive if normals within 4 spacings of each other spread more than
// they close in, summed over the cloud.
func (c *Cloud) bulge() float64 {
	var sum Sum
	var near []Near
	for i, p := range c.Points {
		if c.Rim[i] {
			continue
		}
		near = c.Tree.Gather(p.Vec(), 4*c.Spacing, near[:0])
		for _, q := range near {
			if !c.Rim[q.ID] {
				sum.Add(c.Normals[q.ID].Vec().Sub(c.Normals[i].Vec()).Dot(c.Points[q.ID].Vec().Sub(p.Vec())))
			}
		}
	}
	return sum.Total()
}

// scatter returns the noise of m's vertices about the planes of their cubes.
func (c *Cloud) scatter(m *Mesh, of []int32) float64 {
	var off []float64
	for i := 0; i < len(of); i += 1 + len(of)/20000 {
		if k := of[i]; k >= 0 && !c.Rim[k] {
			off = append(off, math.Abs(m.Verts[i].Vec().Sub(c.Points[k].Vec()).Dot(c.Normals[k].Vec())))
		}
	}
	if len(off) == 0 {
		return 0
	}
	slices.Sort(off)
	return 1.4826 * off[len(off)/2]
}

// Package shot looks at one shot of the scanner: how far apart its points lie,
// how much they scatter, where the scanner stood, how steeply it saw each
// point, and how near the border of the patch each lies. Intake judges a shot by
// that, merge weighs it, coverage tells what hid the rest.
package shot

import (
	"context"
	"fmt"
	"math"
	"slices"

	"layette/steps/internal/geom"
)

// Shot is a scan with what was found of it. Places are in the scan's own frame
// about Mesh.Origin, mm.
type Shot struct {
	Mesh    *geom.Mesh
	Edges   *geom.Edges
	Spacing float64      // median length of an edge
	Noise   float64      // standard deviation of the points across the skin; NaN if it cannot be told
	Normals []geom.Vec   // of each point, smoothed over the noise; zero for a point without triangle
	Local   []float32    // of each point, the mean length of the edges there; 0 without triangle
	Border  []float32    // of each point, how far from the border of the patch, no more than Reach
	Reach   float64      // how far Border looks
	View    View         // where the scanner stood
	Cos     []float32    // of each point, the cosine of the angle between skin and line of sight
	off     [][2]float32 // of each point, how far it lies from the middle of its neighbours: once, and after the neighbours' own share is taken off
}

// View is where the scanner stood.
type View struct {
	Known bool     // the scanner stood at At; otherwise it looked from far off along Along
	At    geom.Vec // about Mesh.Origin
	Along geom.Vec // towards the scanner
	// Away reports that the skin faces away from the scanner: the file is
	// mirrored or its triangles are turned over.
	Away bool
}

// Toward returns the direction from p to the scanner.
func (v View) Toward(p geom.Vec) geom.Vec {
	if v.Known {
		return v.At.Sub(p).Unit()
	}
	return v.Along
}

// Look looks at a scan that holds triangles. reach is how far from the border
// points are told apart, mm. It fails only when ctx is done or there is no
// triangle with an area. 100,000 points take about 0.15 s on one core.
func Look(ctx context.Context, m *geom.Mesh, reach float64, workers int) (*Shot, error) {
	s := &Shot{Mesh: m, Reach: reach}
	var err error
	if s.Edges, err = m.Edges(ctx, workers); err != nil {
		return nil, err
	}
	s.lengths()
	if !(s.Spacing > 0) {
		return nil, fmt.Errorf("all of its points lie at one place or in one line: there is no skin in it")
	}
	for _, f := range []func(){s.scatter, s.smoothNormals, func() { s.View = Stand(m) }, s.angles} {
		if ctx.Err() != nil {
			return nil, context.Cause(ctx)
		}
		f()
	}
	if err := s.borders(ctx, workers); err != nil {
		return nil, err
	}
	return s, nil
}

// lengths finds the spacing.
func (s *Shot) lengths() {
	m := s.Mesh
	all := make([]float32, 0, 3*len(m.Tris))
	sum, n := make([]float64, len(m.Verts)), make([]int32, len(m.Verts))
	for t := range m.Tris {
		a, b, c := m.Corners(t)
		if b.Sub(a).Cross(c.Sub(a)).Len2() == 0 {
			continue
		}
		tri := m.Tris[t]
		for k, l := range [3]float64{b.Sub(a).Len(), c.Sub(b).Len(), a.Sub(c).Len()} {
			all = append(all, float32(l))
			for _, v := range [2]int32{tri[k], tri[(k+1)%3]} {
				sum[v] += l
				n[v]++
			}
		}
	}
	s.Local = make([]float32, len(m.Verts))
	for v := range sum {
		if n[v] > 0 {
			s.Local[v] = float32(sum[v] / float64(n[v]))
		}
	}
	s.Spacing = Middle(all)
}

// Middle returns the median, 0 of nothing. It reorders its argument. The
// numbers are parted about a pivot again and again (C. A. R. Hoare, "Algorithm
// 65: find", 1961; from memory), which takes about 6 ns a number; where that
// goes badly they are sorted.
func Middle(all []float32) float64 {
	if len(all) == 0 {
		return 0
	}
	k, lo, hi := len(all)/2, 0, len(all)-1
	for range 60 {
		if hi-lo < 16 {
			break
		}
		i, j := part(all, lo, hi)
		switch {
		case k <= j:
			hi = j
		case k >= i:
			lo = i
		default:
			return float64(all[k])
		}
	}
	slices.Sort(all[lo : hi+1])
	return float64(all[k])
}

// part orders all[lo:hi+1] so that none of all[lo:j+1] is above any of
// all[i:hi+1], and what lies between j and i is the pivot: the median of three.
func part(all []float32, lo, hi int) (i, j int) {
	a, b, c := all[lo], all[lo+(hi-lo)/2], all[hi]
	pivot := max(min(a, b), min(max(a, b), c))
	for i, j = lo, hi; i <= j; {
		for all[i] < pivot {
			i++
		}
		for all[j] > pivot {
			j--
		}
		if i <= j {
			all[i], all[j] = all[j], all[i]
			i++
			j--
		}
	}
	return i, j
}

// ring calls add for each point and each of its neighbours along an edge, once
// for each triangle beside the edge.
func ring(m *geom.Mesh, add func(to, from int32)) {
	for _, t := range m.Tris {
		for k := range 3 {
			a, b := t[k], t[(k+1)%3]
			add(a, b)
			add(b, a)
		}
	}
}

// SecondSpread is the standard deviation of a point's second difference from
// its neighbours over that of the points: on a lattice where each has six, the
// differences' weights are 7/6, -10/36 (six times), 1/36 and 2/36 (six times
// each), and the root of the sum of their squares is 1.359.
const SecondSpread = 1.359

// scatter finds the noise: each point's distance from the middle of its
// neighbours along the skin's normal, less the mean of its neighbours' own,
// which takes out the skin's bend. The median tells the scatter whatever a few
// points do.
func (s *Shot) scatter() {
	m := s.Mesh
	normals := m.VertexNormals()
	sum, n := make([]geom.Vec, len(m.Verts)), make([]int32, len(m.Verts))
	ring(m, func(to, from int32) {
		sum[to] = sum[to].Add(m.Verts[from].Vec())
		n[to]++
	})
	s.off = make([][2]float32, len(m.Verts))
	first := make([]float64, len(m.Verts))
	for v := range first {
		if n[v] > 0 {
			first[v] = m.Verts[v].Vec().Sub(sum[v].Mul(1 / float64(n[v]))).Dot(normals[v].Vec())
		}
	}
	mean := make([]float64, len(m.Verts))
	ring(m, func(to, from int32) { mean[to] += first[from] })
	inner := s.inner()
	var all []float32
	for v := range first {
		if n[v] == 0 {
			continue
		}
		second := first[v] - mean[v]/float64(n[v])
		s.off[v] = [2]float32{float32(first[v]), float32(second)}
		if inner[v] && n[v] >= 10 && n[v] <= 14 { // five to seven neighbours, each met twice
			all = append(all, float32(math.Abs(second)))
		}
	}
	s.Noise = math.NaN()
	if len(all) >= 50 {
		s.Noise = 1.4826 * Middle(all) / SecondSpread
	}
}

// inner marks the points that no rim passes.
func (s *Shot) inner() []bool {
	inner := make([]bool, len(s.Mesh.Verts))
	for i := range inner {
		inner[i] = s.Local[i] > 0
	}
	for c, mate := range s.Edges.Across {
		if mate < 0 {
			a, b := s.Mesh.Ends(int32(c))
			inner[a], inner[b] = false, false
		}
	}
	return inner
}

// Off returns how far point v stands out of its neighbourhood, mm.
func (s *Shot) Off(v int) float64 { return float64(s.off[v][1]) }

// smoothNormals averages normals over a neighbourhood six times as wide as the
// noise, two spacings at least: so they turn with the skin and not with the
// scatter.
func (s *Shot) smoothNormals() {
	m := s.Mesh
	rough := m.VertexNormals()
	s.Normals = make([]geom.Vec, len(rough))
	for v, n := range rough {
		s.Normals[v] = n.Vec()
	}
	wide := 2.0
	if s.Noise > 0 {
		wide = min(max(wide, 6*s.Noise/s.Spacing), 4)
	}
	next := make([]geom.Vec, len(rough))
	for range int(math.Ceil(wide * wide / 1.5)) { // each round widens by about 1.2 spacings squared
		copy(next, s.Normals)
		ring(m, func(to, from int32) { next[to] = next[to].Add(s.Normals[from].Mul(0.5)) })
		for v := range next {
			s.Normals[v] = next[v].Unit()
		}
	}
}

// Stand finds where the scanner stood. Scanners put themselves at zero and look
// at the skin from some distance; where the skin does not agree, as with files
// moved by another program, the scanner is taken to have looked along the mean
// of the normals, which says less.
func Stand(m *geom.Mesh) View {
	at := m.Origin.Mul(-1)
	var faces, away, all geom.Sum
	var mean geom.Vec
	for t := range m.Tris {
		a, b, c := m.Corners(t)
		n := b.Sub(a).Cross(c.Sub(a))
		area := n.Len()
		mean = mean.Add(n)
		all.Add(area)
		if d := n.Dot(at.Sub(a)); d > 0 {
			faces.Add(area)
		} else {
			away.Add(area)
		}
	}
	v := View{At: at, Along: mean.Unit()}
	box := m.Bounds()
	far := at.Sub(box.Centre()).Len() > 0.5*box.Size().Len()
	v.Known = far && faces.Total() >= 0.9*all.Total()
	v.Away = far && away.Total() >= 0.9*all.Total()
	return v
}

func (s *Shot) angles() {
	s.Cos = make([]float32, len(s.Mesh.Verts))
	for v, p := range s.Mesh.Verts {
		s.Cos[v] = float32(s.Normals[v].Dot(s.View.Toward(p.Vec())))
	}
}

func (s *Shot) borders(ctx context.Context, workers int) error {
	m := s.Mesh
	onRim := make([]bool, len(m.Verts))
	for c, mate := range s.Edges.Across {
		if mate < 0 {
			a, b := m.Ends(int32(c))
			onRim[a], onRim[b] = true, true
		}
	}
	var rim []geom.Point
	for v, on := range onRim {
		if on {
			rim = append(rim, m.Verts[v])
		}
	}
	tree, err := geom.NewPointTree(ctx, rim, workers)
	if err != nil {
		return err
	}
	near := make([]geom.Near, len(m.Verts))
	if err := tree.NearestAll(ctx, m.Verts, s.Reach, workers, near); err != nil {
		return err
	}
	s.Border = make([]float32, len(m.Verts))
	for v, n := range near {
		s.Border[v] = float32(s.Reach)
		if n.ID >= 0 {
			s.Border[v] = float32(math.Sqrt(n.Dist2))
		}
	}
	return nil
}

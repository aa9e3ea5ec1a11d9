package merge

import (
	"context"
	"math"

	"layette/steps/internal/geom"
)

// skin is the surface being made: its vertices grouped by the field's blocks.
type skin struct {
	*geom.Mesh
	block    []int32 // of each vertex; not falling within a block's run
	normals  []geom.Point
	disagree []float32 // of each vertex, the standard deviation between scans, mm
}

// group finds the runs of vertices of each block. A block has two: vertices on
// edges, then middles.
func group(block []int32) map[int32][][2]int32 {
	runs := map[int32][][2]int32{}
	for i := 0; i < len(block); {
		k := i + 1
		for k < len(block) && block[k] == block[i] {
			k++
		}
		runs[block[i]] = append(runs[block[i]], [2]int32{int32(i), int32(k)})
		i = k
	}
	return runs
}

// opinion is what the scans say of one vertex: how far along the normal it
// should move, summed with weights.
type opinion struct {
	push, weight float64
	mean, square float64 // over scans, of each one's own mean
	seen         uint16
}

// settle moves every vertex along its normal to where the points themselves say
// that the skin is, which undoes the blur of the voxels, and counts the scans
// that saw it.
//
// A point speaks by its distance across the mean of its own normal and the
// vertex': on a round skin, where tangent planes lie outside and chords inside,
// the two errors cancel. This is one step of a moving-least-squares projection
// (D. Levin 1998; from memory), with the symmetric distance of S.
// Rusinkiewicz, "A symmetric objective function for ICP", SIGGRAPH 2019 (from
// memory).
func (m *merger) settle(ctx context.Context, s *skin) error {
	said := make([]opinion, len(s.Verts))
	runs := group(s.block)
	s.normals = s.VertexNormals()
	m.job.Progress.Start("settling the surface on the scans", len(m.scans))
	for _, p := range m.scans {
		tree, err := geom.NewPointTree(ctx, p.points, m.job.Workers)
		if err != nil {
			return err
		}
		err = geom.Each(ctx, len(p.blocks), m.job.Workers, func(n int) {
			var near []geom.Near
			for _, run := range runs[p.blocks[n]] {
				for v := run[0]; v < run[1]; v++ {
					near = m.ask(s, v, p, tree, near[:0], &said[v])
				}
			}
		})
		if err != nil {
			return err
		}
		m.job.Progress.Add(1)
	}
	s.Seen, s.disagree = make([]uint16, len(said)), make([]float32, len(said))
	verts := make([]geom.Point, len(said))
	for v, o := range said {
		verts[v] = s.Verts[v]
		if o.seen == 0 {
			continue
		}
		s.Seen[v] = o.seen
		push := min(max(o.push/o.weight, -m.voxel), m.voxel)
		verts[v] = s.Verts[v].Vec().Add(s.normals[v].Vec().Mul(push)).Point()
		mean := o.mean / float64(o.seen)
		s.disagree[v] = float32(math.Sqrt(max(0, o.square/float64(o.seen)-float64(mean*mean))))
	}
	s.Verts = verts
	return nil
}

// A scan saw a vertex if a point of it lies within about 0.7 of a point's radius
// (there the fading is nearBy), and if its points lie round the vertex and not
// beside it: for points that fill half the disc, as at the end of the skin that
// was seen, the middle lies 0.29 of the radius off.
const (
	nearBy = 0.3
	beside = 0.3
)

// ask adds what one scan says of vertex v.
func (m *merger) ask(s *skin, v int32, p *placed, tree *geom.PointTree, near []geom.Near, o *opinion) []geom.Near {
	at, n := s.Verts[v].Vec(), s.normals[v].Vec()
	r := spread * p.spacing
	near = tree.Gather(at, max(r, m.voxel)+m.agree(p), near)
	var push, weight, plain, close float64
	var middle geom.Vec // of the points about the vertex, in shares of their radius
	for _, q := range near {
		d := at.Sub(p.points[q.ID].Vec())
		normal := p.normals[q.ID].Vec()
		if normal.Dot(n) < 0.5 {
			continue
		}
		wide := max(r, min(float64(p.radius[q.ID]), 2*r))
		across := normal.Add(n).Unit().Dot(d)
		u := 1 - (d.Len2()-float64(across*across))/float64(wide*wide)
		if u <= 0 {
			continue
		}
		u = float64(u * u)
		close = max(close, u)
		plain += u
		middle = middle.Add(d.Mul(u / wide))
		u = float64(u * float64(p.weight[q.ID]))
		push, weight = push-float64(u*across), weight+u
	}
	if weight == 0 || close < nearBy {
		return near
	}
	middle = middle.Mul(1 / plain)
	if middle.Sub(n.Mul(middle.Dot(n))).Len() > beside {
		return near
	}
	mean := push / weight
	if math.Abs(mean) > m.agree(p) {
		return near
	}
	o.push, o.weight = o.push+push, o.weight+weight
	o.mean, o.square, o.seen = o.mean+mean, o.square+float64(mean*mean), o.seen+1
	return near
}

// agree is how far from the joined surface a scan may lie and still count as
// having seen it.
func (m *merger) agree(p *placed) float64 {
	noise := p.noise
	if !(noise > 0) {
		noise = 0
	}
	return max(4*noise, m.voxel)
}

// even moves vertices along the skin towards the middle of their neighbours, so
// that no triangle is a sliver; those on a rim stay.
func even(ctx context.Context, m *geom.Mesh, e *geom.Edges) error {
	fixed := onRim(m, e)
	for range 3 {
		if ctx.Err() != nil {
			return context.Cause(ctx)
		}
		normals := m.VertexNormals()
		sum, n := neighbours(m)
		verts := make([]geom.Point, len(m.Verts))
		for v, p := range m.Verts {
			verts[v] = p
			if fixed[v] || n[v] == 0 {
				continue
			}
			to := sum[v].Mul(1 / float64(n[v])).Sub(p.Vec())
			normal := normals[v].Vec()
			to = to.Sub(normal.Mul(to.Dot(normal)))
			verts[v] = p.Vec().Add(to.Mul(0.5)).Point()
		}
		m.Verts = verts
	}
	return nil
}

func neighbours(m *geom.Mesh) (sum []geom.Vec, n []int32) {
	sum, n = make([]geom.Vec, len(m.Verts)), make([]int32, len(m.Verts))
	for _, t := range m.Tris {
		for k := range 3 {
			a, b := t[k], t[(k+1)%3]
			sum[a], sum[b] = sum[a].Add(m.Verts[b].Vec()), sum[b].Add(m.Verts[a].Vec())
			n[a]++
			n[b]++
		}
	}
	return sum, n
}

func onRim(m *geom.Mesh, e *geom.Edges) []bool {
	on := make([]bool, len(m.Verts))
	for c, mate := range e.Across {
		if mate < 0 {
			a, b := m.Ends(int32(c))
			on[a], on[b] = true, true
		}
	}
	return on
}

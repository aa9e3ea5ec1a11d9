package merge

import (
	"context"
	"math"
	"slices"

	"layette/steps/internal/geom"
)

// skin is the surface being made.
type skin struct {
	*geom.Mesh
	disagree []float32 // of each vertex, the standard deviation between scans, mm
}

// opinion is what the scans say of one vertex: how far along the normal it
// should move, summed with weights.
type opinion struct {
	push, weight float64
	mean, square float64 // over scans, of each one's own mean
	seen         uint16
}

// settle moves every vertex along its normal to where the scans themselves, not
// the voxels, say that the skin is, and counts the scans that saw it.
//
// A scan speaks by the distances of the vertex to its points, as they were seen,
// across the mean of the two normals: on a round skin, where tangent planes lie
// outside and chords inside, the two errors cancel (the symmetric distance of S.
// Rusinkiewicz, "A symmetric objective function for ICP", SIGGRAPH 2019; from
// memory). Smoothed skin would be smoothed twice here, and lose its edges.
func (m *merger) settle(ctx context.Context, f *field, s *skin) error {
	normals, said := s.VertexNormals(), make([]opinion, len(s.Verts))
	first, verts := byBlock(f.Lattice, s.Verts)
	m.job.Progress.Start("settling the surface on the scans", len(f.near))
	err := geom.Each(ctx, len(f.near), m.job.Workers, func(b int) {
		for _, p := range f.near[b] {
			for _, v := range verts[first[b]:first[b+1]] {
				m.ask(m.scans[p], s.Verts[v].Vec(), normals[v].Vec(), &said[v])
			}
		}
		m.job.Progress.Add(1)
	})
	if err != nil {
		return err
	}
	s.Seen, s.disagree = make([]uint16, len(s.Verts)), make([]float32, len(s.Verts))
	s.Verts = slices.Clone(s.Verts)
	for v, o := range said {
		if o.seen == 0 {
			continue
		}
		s.Seen[v] = o.seen
		push := min(max(o.push/o.weight, -m.voxel), m.voxel)
		s.Verts[v] = s.Verts[v].Vec().Add(normals[v].Vec().Mul(push)).Point()
		mean := o.mean / float64(o.seen)
		s.disagree[v] = float32(math.Sqrt(max(0, o.square/float64(o.seen)-float64(mean*mean))))
	}
	return nil
}

// byBlock sorts vertices by the blocks they lie in: those of block b are
// verts[first[b]:first[b+1]]. Those in no block, near which there is no point,
// are left out.
func byBlock(l *geom.Lattice, all []geom.Point) (first, verts []int32) {
	block := make([]int32, len(all))
	first = make([]int32, len(l.At)+2) // for now, each block's two places on
	for v, p := range all {
		var at [3]int32
		for d := range 3 {
			at[d] = int32(math.Floor(float64(p[d])/l.Cell)) >> 3
		}
		b, ok := l.Block(at)
		if !ok {
			block[v] = -1
			continue
		}
		block[v] = b
		first[b+2]++
	}
	for b := range l.At {
		first[b+2] += first[b+1]
	}
	verts = make([]int32, first[len(l.At)+1])
	for v, b := range block {
		if b >= 0 {
			verts[first[b+1]] = int32(v)
			first[b+1]++
		}
	}
	return first[:len(l.At)+1], verts
}

// A scan saw a vertex if a point of it lies near it (there the fading is
// nearBy), and if its points lie round the vertex and not beside it: for points
// that fill half the disc, as at the very end of the skin that was seen, the
// middle lies 0.29 of the radius off, and there the skin frays. It did not see it if points that lie too far off
// weigh a quarter of the others, as where wet skin throws the light about.
const (
	nearBy = 0.3
	beside = 0.25
)

// ask adds what one scan says of a vertex with the normal up, if it saw it. Of
// its points those speak that stand about it in the scan's picture.
func (m *merger) ask(p *placed, at, up geom.Vec, o *opinion) {
	i := p.about(at)
	if i < 0 {
		return
	}
	agree, r := m.agree(p), float64(p.patches[i].wide)
	far, per := 1.5*agree, 1/float64(r*r)
	most := float64(r*r) + float64(4*far*far)
	if at.Sub(p.patches[i].at.Vec()).Len2() > most {
		return
	}
	var push, weight, plain, close, against float64
	var middle geom.Vec // of the points about the vertex, in shares of their radius
	loU, hiU, loV, hiV := p.picture.cells(at, r)
	for row := loV; row <= hiV && loU <= hiU; row++ {
		about := p.picture.row(p.patches, loU, hiU, row)
		for k := range about {
			q := &about[k]
			d := at.Sub(q.at.Vec())
			dist2 := d.Len2()
			if dist2 > most {
				continue
			}
			normal := q.up.Vec()
			turn := normal.Dot(up)
			if turn < 0.5 {
				continue
			}
			across := normal.Dot(d) + up.Dot(d)
			if float64(across*across) < 3*(dist2-float64(r*r)) {
				continue // off the disc whatever the turn
			}
			long2 := 2 + 2*turn // of the sum of the normals, three to four
			u := 1 - (dist2-float64(across*across)/long2)*per
			if u <= 0 {
				continue
			}
			across /= math.Sqrt(long2)
			u = float64(u * u)
			near := u
			u = float64(u * float64(q.many))
			if across > far || across < -far {
				against += u
				continue
			}
			close = max(close, near)
			plain += u
			middle = middle.Add(d.Mul(u))
			u = float64(u * float64(q.weight))
			push, weight = push-float64(u*across), weight+u
		}
	}
	if weight == 0 || close < nearBy || against > plain/4 {
		return
	}
	middle = middle.Mul(1 / float64(plain*r))
	if middle.Sub(up.Mul(middle.Dot(up))).Len() > beside {
		return
	}
	mean := push / weight
	if math.Abs(mean) > agree {
		return
	}
	o.push, o.weight = o.push+push, o.weight+weight
	o.mean, o.square, o.seen = o.mean+mean, o.square+float64(mean*mean), o.seen+1
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

package form

import (
	"context"
	"math"

	"layette/steps/internal/geom"
)

// patches part a skin by which of some vertices is nearest along its edges.
// They depend on the skin alone, so that all its operators share them.
type patches struct {
	of    []int32 // patch of each vertex
	first []int32 // of each patch in list
	list  []int32 // the vertices of the patches
	skin  *Skin   // its vertices are the patches
}

// few is how many patches are not parted further.
const few = 20_000

// patches returns the skin's patches whose middles are wide mm apart at least.
// Held vertices make patches of their own.
func (s *Skin) patches(ctx context.Context, wide float64) (*patches, error) {
	if p, ok := s.parted[wide]; ok {
		return p, nil
	}
	p := &patches{}
	n, err := p.part(ctx, s, wide)
	if err != nil {
		return nil, err
	}
	p.members(n)
	p.skin = &Skin{Mesh: &geom.Mesh{Verts: make([]geom.Point, n)}, Held: make([]bool, n), workers: s.workers, wide: wide, many: few, parted: map[float64]*patches{}}
	for k := range n {
		sum := geom.Vec{}
		all := p.list[p.first[k]:p.first[k+1]]
		for _, v := range all {
			sum = sum.Add(s.Mesh.Verts[v].Vec())
		}
		p.skin.Mesh.Verts[k], p.skin.Held[k] = sum.Mul(1/float64(len(all))).Point(), s.Held[all[0]]
	}
	for _, t := range s.Mesh.Tris {
		if a, b, c := p.of[t[0]], p.of[t[1]], p.of[t[2]]; a != b && b != c && c != a {
			p.skin.Mesh.Tris = append(p.skin.Mesh.Tris, geom.Tri{a, b, c})
		}
	}
	p.skin.join()
	s.parted[wide] = p
	return p, nil
}

// part names the patch of each vertex and returns how many there are.
func (p *patches) part(ctx context.Context, s *Skin, wide float64) (n int32, err error) {
	long := make([]float64, len(s.Mesh.Verts))
	p.of = make([]int32, len(long))
	for v := range p.of {
		long[v], p.of[v] = math.Inf(1), -1
	}
	var queue []geom.Near
	for v := range p.of {
		if v%1024 == 0 && ctx.Err() != nil {
			return 0, context.Cause(ctx)
		}
		if long[v] <= wide {
			continue
		}
		long[v], p.of[v] = 0, n
		queue = append(queue[:0], geom.Near{ID: int32(v)})
		for i := 0; i < len(queue); i++ {
			q := queue[i]
			if q.Dist2 > long[q.ID] {
				continue // a shorter way came after it
			}
			at := s.Mesh.Verts[q.ID].Vec()
			for _, u := range s.joined.of(int(q.ID)) {
				d := q.Dist2 + s.Mesh.Verts[u].Vec().Sub(at).Len()
				if d < long[u] && d <= 1.5*wide && s.Held[u] == s.Held[q.ID] {
					long[u], p.of[u] = d, n
					queue = append(queue, geom.Near{ID: u, Dist2: d})
				}
			}
		}
		n++
	}
	return n, nil
}

// members lists the vertices of each of n patches, in rising order.
func (p *patches) members(n int32) {
	p.first, p.list = make([]int32, n+1), make([]int32, len(p.of))
	for _, k := range p.of {
		p.first[k+1]++
	}
	for k := range n {
		p.first[k+1] += p.first[k]
	}
	at := append([]int32(nil), p.first...)
	for v, k := range p.of {
		p.list[at[k]] = int32(v)
		at[k]++
	}
}

package soundness

import (
	"cmp"
	"context"
	"slices"

	"layette/steps/internal/geom"
)

// spike is a vertex far out from its neighbours.
type spike struct {
	vert   int32
	height float64 // mm
}

// A spike is steep: it stands at least 0.9 times as far from the middle of its
// neighbours as those do (a cube's corner 0.7, a slope of 45 degrees once). And
// it stands alone: each neighbour is off the middle of its own neighbours by no
// more than the spike itself would cause, a sixth where six meet, and without
// it by a third at most. Common practice, no source; tried on smooth, scanned
// and carved surfaces.
const (
	spikeSteep  = 0.9
	spikeAlone  = 4.0
	spikeBeside = 3.0
)

// around is what is known of the ring of a vertex: each neighbour counts once
// for each triangle, on closed skin twice, which leaves means as they are.
type around struct {
	n      int32
	rim    bool
	to     geom.Vec // to the neighbours, sum
	square float64  // of the distances to them, sum
}

// findSpikes finds the spikes of closed skin, the highest first.
func findSpikes(ctx context.Context, m *geom.Mesh, e *geom.Edges) ([]spike, error) {
	rings := make([]around, len(m.Verts))
	for t, tri := range m.Tris {
		a, b, c := m.Corners(t)
		ab, bc, ca := b.Sub(a), c.Sub(b), a.Sub(c)
		rings[tri[0]].add(ab.Sub(ca), ab, ca)
		rings[tri[1]].add(bc.Sub(ab), bc, ab)
		rings[tri[2]].add(ca.Sub(bc), ca, bc)
		for k := range 3 {
			if e.Across[3*t+k] < 0 {
				rings[tri[k]].rim, rings[tri[(k+1)%3]].rim = true, true
			}
		}
	}
	if ctx.Err() != nil {
		return nil, context.Cause(ctx)
	}
	beside := map[int32][]int32{}
	for v := range rings {
		if rings[v].steep() {
			beside[int32(v)] = nil
		}
	}
	if len(beside) == 0 {
		return nil, nil
	}
	for _, t := range m.Tris {
		for k, v := range t {
			if list, ok := beside[v]; ok {
				beside[v] = append(list, t[(k+1)%3], t[(k+2)%3])
			}
		}
	}
	var found []spike
	for v, list := range beside {
		if high := rings[v].off().Len(); alone(m, rings, v, list, high) {
			found = append(found, spike{v, high})
		}
	}
	slices.SortFunc(found, func(a, b spike) int { return cmp.Or(cmp.Compare(b.height, a.height), cmp.Compare(a.vert, b.vert)) })
	return found, nil
}

func (r *around) add(to, d, e geom.Vec) {
	r.n += 2
	r.to = r.to.Add(to)
	r.square += d.Len2() + e.Len2()
}

// off returns the way to the middle of the neighbours.
func (r *around) off() geom.Vec {
	if r.n == 0 {
		return geom.Vec{}
	}
	return r.to.Mul(1 / float64(r.n))
}

func (r *around) steep() bool {
	if r.rim || r.n < 6 {
		return false
	}
	off2 := r.off().Len2()
	spread2 := r.square/float64(r.n) - off2 // mean square of their distance from their middle
	return off2 > float64(spikeSteep*spikeSteep)*spread2
}

// alone reports whether the neighbours of v, each listed once for each common
// triangle, lie as they would without it.
func alone(m *geom.Mesh, rings []around, v int32, list []int32, high float64) bool {
	var with, without []float64
	for _, w := range list {
		r := &rings[w]
		with = append(with, r.off().Len())
		common := 0.0
		for _, x := range list {
			if x == w {
				common++
			}
		}
		rest := r.to.Sub(m.Verts[v].Vec().Sub(m.Verts[w].Vec()).Mul(common))
		if left := float64(r.n) - common; left > 0 {
			without = append(without, rest.Len()/left)
		}
	}
	slices.Sort(with)
	slices.Sort(without)
	return len(without) > 0 && high > spikeAlone*with[len(with)/2] && high > spikeBeside*without[len(without)/2]
}

package merge

import (
	"context"
	"math"

	"layette/steps/internal/geom"
)

// through reports whether the scanner looked through q: it is known where it
// stood, and in the nine cells about q skin lies farther off by more than margin
// mm. Space carving as in Curless and Levoy 1996 (from memory).
func (p *placed) through(q geom.Vec, margin float64) bool {
	w := p.picture
	u, v, depth := w.slopes(q)
	u, v = math.Floor((u-w.u)*w.per), math.Floor((v-w.v)*w.per)
	if !p.stood || !(u >= 1 && v >= 1 && u < float64(w.nx-1) && v < float64(w.ny-1)) {
		return false
	}
	for j := int(v) - 1; j <= int(v)+1; j++ {
		for i := int(u) - 1; i <= int(u)+1; i++ {
			if skin := float64(p.depth[j*w.nx+i]); skin == 0 || skin < depth+margin {
				return false
			}
		}
	}
	return true
}

// tile is how many cells of a picture are looked at together, both ways.
const tile = 16

// throughAbout reports whether the scanner may have looked through anything
// within r mm of q: in doubt yes.
func (p *placed) throughAbout(q geom.Vec, r, margin float64) bool {
	w := p.picture
	loU, hiU, loV, hiV := w.cells(q, 1.1*r)
	if _, _, depth := w.slopes(q); depth > r && p.stood {
		across := (w.nx + tile - 1) / tile
		for j := loV / tile; j <= hiV/tile; j++ {
			for i := loU / tile; i <= hiU/tile && loU <= hiU; i++ {
				if float64(p.deepest[j*across+i]) >= depth-1.1*r+margin {
					return true
				}
			}
		}
		return false
	}
	return p.stood
}

// depths finds how far off the nearest skin lies in each cell of the picture,
// mm, and the deepest of these in each tile; 0 where nothing came back.
func (p *placed) depths() {
	w := p.picture
	across := (w.nx + tile - 1) / tile
	p.depth, p.deepest = make([]float32, w.nx*w.ny), make([]float32, across*((w.ny+tile-1)/tile))
	for c := range p.depth {
		for i := w.first[c]; i < w.first[c+1]; i++ {
			if d := float32(p.patches[i].at.Vec().Sub(w.at).Dot(w.z)); p.depth[c] == 0 || d < p.depth[c] {
				p.depth[c] = max(d, 0)
			}
		}
		t := &p.deepest[c/w.nx/tile*across+c%w.nx/tile]
		*t = max(*t, p.depth[c])
	}
}

// carve takes away the marks of vertices that as many scanners looked through as
// saw, or more: what a misplaced shot, a stray or a finger that moved left
// standing in the air. In doubt it is better to have no skin than a false one. It
// returns how many there were.
func (m *merger) carve(ctx context.Context, s *skin) (int, error) {
	margin := max(3*m.voxel, 8*m.noise, 1)
	gone := make([]bool, len(s.Verts))
	const chunk = 256 // of vertices that mostly lie near one another
	err := geom.Each(ctx, (len(s.Verts)+chunk-1)/chunk, m.job.Workers, func(c int) {
		some := s.Verts[c*chunk : min((c+1)*chunk, len(s.Verts))]
		scans := m.throughAny(some, margin)
		for v, at := range some {
			v += c * chunk
			seen, n := int(s.Seen[v]), 0
			if seen == 0 || 2*seen >= len(m.scans) { // the rest are too few
				continue
			}
			for _, p := range scans {
				if p.through(at.Vec(), margin) {
					n++
				}
			}
			gone[v] = n >= seen
		}
	})
	n := 0
	for v, g := range gone {
		if g {
			s.Seen[v] = 0
			n++
		}
	}
	return n, err
}

// throughAny returns the scans whose scanners may have looked through one of the
// places.
func (m *merger) throughAny(places []geom.Point, margin float64) []*placed {
	box := geom.EmptyBox()
	for _, p := range places {
		box = box.Include(p.Vec())
	}
	var list []*placed
	for _, p := range m.scans {
		if p.throughAbout(box.Centre(), box.Size().Len()/2+0.01, margin) {
			list = append(list, p)
		}
	}
	return list
}

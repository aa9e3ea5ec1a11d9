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

// depths finds how far off the nearest skin lies in each cell of the picture,
// mm; 0 where nothing came back.
func (p *placed) depths() {
	w := p.picture
	p.depth = make([]float32, w.nx*w.ny)
	for c := range p.depth {
		for i := w.first[c]; i < w.first[c+1]; i++ {
			if d := float32(p.points[i].Vec().Sub(w.at).Dot(w.z)); p.depth[c] == 0 || d < p.depth[c] {
				p.depth[c] = max(d, 0)
			}
		}
	}
}

// carve takes away the marks of vertices that as many scanners looked through as
// saw, or more: what a misplaced shot, a stray or a finger that moved left
// standing in the air. In doubt it is better to have no skin than a false one. It
// returns how many there were.
func (m *merger) carve(ctx context.Context, s *skin) (int, error) {
	margin := max(3*m.voxel, 8*m.noise, 1)
	gone := make([]bool, len(s.Verts))
	const chunk = 4096
	err := geom.Each(ctx, (len(s.Verts)+chunk-1)/chunk, m.job.Workers, func(c int) {
		for v := c * chunk; v < min((c+1)*chunk, len(s.Verts)); v++ {
			seen, n := int(s.Seen[v]), 0
			if seen == 0 || 2*seen >= len(m.scans) { // the rest are too few
				continue
			}
			for _, p := range m.scans {
				if p.through(s.Verts[v].Vec(), margin) {
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

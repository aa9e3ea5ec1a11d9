package merge

import (
	"context"
	"math"

	"layette/steps/internal/geom"
	"layette/steps/internal/shot"
)

// window is what a scan saw from where its scanner stood: how far off the
// nearest skin lies in each cell of its picture. What lies well before that,
// the scanner looked through: it is air. Space carving as in Curless and Levoy
// 1996 (from memory).
type window struct {
	at      geom.Vec // in the part's frame
	x, y, z geom.Vec // z along the line of sight
	u, v    float64  // least
	per     float64  // cells for each unit of slope
	nx, ny  int
	depth   []float32 // mm along z; 0 where nothing came back
}

// mostCells bounds a window's picture, whatever stray points lie in it.
const mostCells = 1 << 22

// newWindow draws the picture of a scan, or returns nil if the scan does not
// show where the scanner stood.
func newWindow(s *shot.Shot, pose geom.Pose) *window {
	if !s.View.Known {
		return nil
	}
	var mean geom.Vec
	for _, p := range s.Mesh.Verts {
		mean = mean.Add(p.Vec().Sub(s.View.At))
	}
	w := &window{at: s.View.At, z: mean.Unit()}
	w.x = w.z.Cross(geom.Vec{X: w.z.Y, Y: w.z.Z, Z: -w.z.X}).Unit()
	w.y = w.z.Cross(w.x)
	far := mean.Len() / float64(len(s.Mesh.Verts))
	w.per = far / (1.5 * s.Spacing)
	lo, hi := [2]float64{math.Inf(1), math.Inf(1)}, [2]float64{math.Inf(-1), math.Inf(-1)}
	for _, p := range s.Mesh.Verts {
		if u, v, d := w.slopes(p.Vec()); d > 0 {
			lo, hi = [2]float64{min(lo[0], u), min(lo[1], v)}, [2]float64{max(hi[0], u), max(hi[1], v)}
		}
	}
	if size := float64((hi[0]-lo[0])*w.per+1) * float64((hi[1]-lo[1])*w.per+1); !(size < mostCells) {
		return nil
	}
	w.u, w.v = lo[0], lo[1]
	w.nx, w.ny = int((hi[0]-lo[0])*w.per)+1, int((hi[1]-lo[1])*w.per)+1
	w.depth = make([]float32, w.nx*w.ny)
	for _, p := range s.Mesh.Verts {
		i, j, d := w.cell(p.Vec())
		if d <= 0 {
			continue
		}
		if c := &w.depth[j*w.nx+i]; *c == 0 || float32(d) < *c {
			*c = float32(d)
		}
	}
	w.at = pose.Apply(w.at.Add(s.Mesh.Origin))
	w.x, w.y, w.z = pose.Rot.Apply(w.x), pose.Rot.Apply(w.y), pose.Rot.Apply(w.z)
	return w
}

// slopes returns where p stands in the picture, and how far off along z.
func (w *window) slopes(p geom.Vec) (u, v, depth float64) {
	d := p.Sub(w.at)
	depth = d.Dot(w.z)
	return d.Dot(w.x) / depth, d.Dot(w.y) / depth, depth
}

func (w *window) cell(p geom.Vec) (i, j int, depth float64) {
	u, v, depth := w.slopes(p)
	u, v = math.Floor((u-w.u)*w.per), math.Floor((v-w.v)*w.per)
	if !(u >= 0 && v >= 0 && u < float64(w.nx) && v < float64(w.ny)) {
		return 0, 0, 0
	}
	return int(u), int(v), depth
}

// through reports whether the scanner looked through p: in the nine cells about
// it skin lies farther off by more than margin mm.
func (w *window) through(p geom.Vec, margin float64) bool {
	i, j, d := w.cell(p)
	if d <= 0 || i < 1 || j < 1 || i >= w.nx-1 || j >= w.ny-1 {
		return false
	}
	for b := j - 1; b <= j+1; b++ {
		for a := i - 1; a <= i+1; a++ {
			if skin := float64(w.depth[b*w.nx+a]); skin == 0 || skin < d+margin {
				return false
			}
		}
	}
	return true
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
				if p.window != nil && p.window.through(s.Verts[v].Vec(), margin) {
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

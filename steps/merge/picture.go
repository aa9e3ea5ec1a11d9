package merge

import (
	"math"
	"slices"

	"layette/steps/internal/geom"
)

// picture tells which patches of a scan the scanner saw about a place: they
// stand in order of the cells of a grid across its line of sight, which hold one
// or two each. A scan of which it is not known where the scanner stood is
// looked at from far off.
type picture struct {
	at      geom.Vec // the eye
	x, y, z geom.Vec // z along the line of sight
	u, v    float64  // least slope to it
	per     float64  // cells for each unit of slope
	nx, ny  int
	first   []int32 // of each cell, its first point; one more at the end
}

// steepest is the slope to the line of sight beyond which all points stand at
// the edge of the picture.
const steepest = 4

// newPicture returns the picture that an eye sees of patches, with cells of that
// many mm, and the patches in its order.
func newPicture(eye geom.Vec, all []patch, cell float64) (*picture, []patch) {
	var mean geom.Vec
	for i := range all {
		mean = mean.Add(all[i].at.Vec().Sub(eye))
	}
	w := &picture{at: eye, z: mean.Unit(), per: mean.Len() / float64(len(all)) / cell}
	w.per = min(w.per, 1e6)
	w.x = w.z.Cross(geom.Vec{X: w.z.Y, Y: w.z.Z, Z: -w.z.X}).Unit()
	w.y = w.z.Cross(w.x)
	lo, hi := w.frame(all)
	for (hi[0]-lo[0])*w.per*(hi[1]-lo[1])*w.per > float64(8*len(all)+1024) { // far sparser than it seems
		w.per /= 2
	}
	w.u, w.v = lo[0], lo[1]
	w.nx, w.ny = int((hi[0]-lo[0])*w.per)+1, int((hi[1]-lo[1])*w.per)+1
	at := make([]int32, len(all))
	w.first = make([]int32, w.nx*w.ny+1)
	for i := range all {
		u, v, _ := w.slopes(all[i].at.Vec())
		u, v = (min(u, hi[0])-w.u)*w.per, (min(v, hi[1])-w.v)*w.per
		at[i] = int32(int(max(v, 0))*w.nx + int(max(u, 0)))
		w.first[at[i]+1]++
	}
	for c := range w.nx * w.ny {
		w.first[c+1] += w.first[c]
	}
	ordered, next := make([]patch, len(all)), append([]int32(nil), w.first...)
	for i, c := range at {
		ordered[next[c]] = all[i]
		next[c]++
	}
	return w, ordered
}

// row returns the patches of a row's cells from lo to hi.
func (w *picture) row(all []patch, lo, hi, row int) []patch {
	c := row * w.nx
	return all[w.first[c+lo]:w.first[c+hi+1]]
}

// frame returns the least and greatest slopes of the points, but for strays:
// those more than a quarter beyond where 96 of 100 lie, by a sample.
func (w *picture) frame(all []patch) (lo, hi [2]float64) {
	const sample = 1000
	lo, hi = [2]float64{steepest, steepest}, [2]float64{-steepest, -steepest}
	var some [2][]float64
	every := 1 + len(all)/sample
	for i := range all {
		u, v, _ := w.slopes(all[i].at.Vec())
		for d, x := range [2]float64{u, v} {
			lo[d], hi[d] = min(lo[d], x), max(hi[d], x)
			if i%every == 0 {
				some[d] = append(some[d], x)
			}
		}
	}
	for d := range some {
		slices.Sort(some[d])
		n := len(some[d])
		from, to := some[d][n/50], some[d][n-1-n/50]
		lo[d], hi[d] = max(lo[d], from-(to-from)/4), min(hi[d], to+(to-from)/4)
	}
	return lo, hi
}

// slopes returns where p stands in the picture, and how far off along z.
func (w *picture) slopes(p geom.Vec) (u, v, depth float64) {
	d := p.Sub(w.at)
	depth = d.Dot(w.z)
	if !(depth > 1e-3) {
		return steepest, steepest, depth
	}
	per := 1 / depth
	return min(max(d.Dot(w.x)*per, -steepest), steepest), min(max(d.Dot(w.y)*per, -steepest), steepest), depth
}

// moved returns the picture with its eye moved.
func (w *picture) moved(origin geom.Vec, pose geom.Pose) *picture {
	to := *w
	to.at = pose.Apply(w.at.Add(origin))
	to.x, to.y, to.z = pose.Rot.Apply(w.x), pose.Rot.Apply(w.y), pose.Rot.Apply(w.z)
	return &to
}

// cells returns the cells within r mm about p, across the line of sight; there
// are none if loU > hiU or loV > hiV.
func (w *picture) cells(p geom.Vec, r float64) (loU, hiU, loV, hiV int) {
	u, v, depth := w.slopes(p)
	if depth <= r {
		return 0, -1, 0, -1
	}
	r = float64(r*w.per) / depth
	u, v = (u-w.u)*w.per, (v-w.v)*w.per
	if u+r < 0 || v+r < 0 || u-r >= float64(w.nx) || v-r >= float64(w.ny) {
		return 0, -1, 0, -1
	}
	return int(max(u-r, 0)), min(int(u+r), w.nx-1), int(max(v-r, 0)), min(int(v+r), w.ny-1)
}

// straight is a picture about one place of the skin, taken as straight: over the
// few tenths of a millimetre that it is asked for it bends by a thousandth of a cell.
type straight struct {
	w      *picture
	u, v   float64  // the cell of the place
	du, dv geom.Vec // how it changes with a step, which is first taken down to the skin
}

// straight returns the picture about foot, on skin with the normal up.
func (w *picture) straight(foot, up geom.Vec) straight {
	u, v, depth := w.slopes(foot)
	if !(depth > 1e-3) {
		return straight{w: w, u: -1, v: -1}
	}
	per := w.per / depth
	du, dv := w.x.Sub(w.z.Mul(u)).Mul(per), w.y.Sub(w.z.Mul(v)).Mul(per)
	return straight{w: w, u: (u - w.u) * w.per, v: (v - w.v) * w.per, du: du.Sub(up.Mul(du.Dot(up))), dv: dv.Sub(up.Mul(dv.Dot(up)))}
}

// cell returns the cell after a step; -1 beyond the picture.
func (s *straight) cell(step geom.Vec) int {
	u, v := s.u+step.Dot(s.du), s.v+step.Dot(s.dv)
	if u >= 0 && v >= 0 && u < float64(s.w.nx) && v < float64(s.w.ny) {
		return int(v)*s.w.nx + int(u)
	}
	return -1
}

// about returns the patch of the scan nearest to q in its own cell of the
// picture, or if there is none in those beside it; -1 if there is none.
func (p *placed) about(q geom.Vec) int32 {
	w := p.picture
	u, v, depth := w.slopes(q)
	u, v = (u-w.u)*w.per, (v-w.v)*w.per
	if depth > 0 && u >= 0 && v >= 0 && u < float64(w.nx) && v < float64(w.ny) {
		if n := p.in(int(v)*w.nx+int(u), q); n >= 0 {
			return n
		}
	}
	return p.around(q)
}

// in returns the patch nearest to q in a cell; -1 if there is none.
func (p *placed) in(cell int, q geom.Vec) int32 {
	if cell < 0 {
		return -1
	}
	lo, hi := p.picture.first[cell], p.picture.first[cell+1]
	switch hi - lo {
	case 0:
		return -1
	case 1:
		return lo
	}
	return p.nearest(q, lo, hi, -1)
}

// around returns the patch nearest to q in its own cell and those beside it.
func (p *placed) around(q geom.Vec) int32 {
	w, best := p.picture, int32(-1)
	u, v, depth := w.slopes(q)
	i, j := int(math.Floor((u-w.u)*w.per)), int(math.Floor((v-w.v)*w.per))
	if !(depth > 0 && i >= -1 && j >= -1 && i <= w.nx && j <= w.ny) {
		return -1
	}
	for b := max(j-1, 0); b <= min(j+1, w.ny-1); b++ {
		best = p.nearest(q, w.first[b*w.nx+max(i-1, 0)], w.first[b*w.nx+min(i+1, w.nx-1)+1], best)
	}
	return best
}

// nearest returns best or the patch from lo to hi that is nearer to q.
func (p *placed) nearest(q geom.Vec, lo, hi, best int32) int32 {
	least := math.Inf(1)
	if best >= 0 {
		least = p.patches[best].at.Vec().Sub(q).Len2()
	}
	for i := lo; i < hi; i++ {
		if d := p.patches[i].at.Vec().Sub(q).Len2(); d < least {
			best, least = i, d
		}
	}
	return best
}

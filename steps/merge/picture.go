package merge

import (
	"math"
	"slices"

	"layette/steps/internal/geom"
)

// picture tells which points of a scan the scanner saw about a place: its
// points stand in order of the cells of a grid across its line of sight, about
// 1.5 spacings wide. A scan of which it is not known where the scanner stood is
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

// newPicture returns the picture that an eye sees of points of that spacing,
// and their order in it.
func newPicture(eye geom.Vec, points []geom.Point, spacing float64) (*picture, []int32) {
	var mean geom.Vec
	for _, p := range points {
		mean = mean.Add(p.Vec().Sub(eye))
	}
	w := &picture{at: eye, z: mean.Unit(), per: mean.Len() / float64(len(points)) / (1.5 * spacing)}
	w.per = min(w.per, 1e6)
	w.x = w.z.Cross(geom.Vec{X: w.z.Y, Y: w.z.Z, Z: -w.z.X}).Unit()
	w.y = w.z.Cross(w.x)
	lo, hi := w.frame(points)
	for (hi[0]-lo[0])*w.per*(hi[1]-lo[1])*w.per > float64(8*len(points)+1024) { // far sparser than it seems
		w.per /= 2
	}
	w.u, w.v = lo[0], lo[1]
	w.nx, w.ny = int((hi[0]-lo[0])*w.per)+1, int((hi[1]-lo[1])*w.per)+1
	cell := make([]int32, len(points))
	w.first = make([]int32, w.nx*w.ny+1)
	for i, p := range points {
		u, v, _ := w.slopes(p.Vec())
		u, v = (min(u, hi[0])-w.u)*w.per, (min(v, hi[1])-w.v)*w.per
		cell[i] = int32(int(max(v, 0))*w.nx + int(max(u, 0)))
		w.first[cell[i]+1]++
	}
	for c := range w.nx * w.ny {
		w.first[c+1] += w.first[c]
	}
	order, next := make([]int32, len(points)), append([]int32(nil), w.first...)
	for i, c := range cell {
		order[next[c]] = int32(i)
		next[c]++
	}
	return w, order
}

// frame returns the least and greatest slopes of the points, but for strays:
// those more than a quarter beyond where 96 of 100 lie, by a sample.
func (w *picture) frame(points []geom.Point) (lo, hi [2]float64) {
	const sample = 1000
	lo, hi = [2]float64{steepest, steepest}, [2]float64{-steepest, -steepest}
	var some [2][]float64
	every := 1 + len(points)/sample
	for i, p := range points {
		u, v, _ := w.slopes(p.Vec())
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

// about returns the point of the scan nearest to q in its own cell of the
// picture, or if there is none in those beside it; -1 if there is none.
func (p *placed) about(q geom.Vec) int32 {
	w := p.picture
	u, v, depth := w.slopes(q)
	i, j := int(math.Floor((u-w.u)*w.per)), int(math.Floor((v-w.v)*w.per))
	if depth > 0 && i >= 0 && j >= 0 && i < w.nx && j < w.ny {
		c := j*w.nx + i
		if n := p.nearest(q, w.first[c], w.first[c+1], -1); n >= 0 {
			return n
		}
	}
	return p.around(q)
}

// around returns the point nearest to q in its own cell and those beside it.
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

// nearest returns best or the point from lo to hi that is nearer to q.
func (p *placed) nearest(q geom.Vec, lo, hi, best int32) int32 {
	least := math.Inf(1)
	if best >= 0 {
		least = p.points[best].Vec().Sub(q).Len2()
	}
	for i := lo; i < hi; i++ {
		if d := p.points[i].Vec().Sub(q).Len2(); d < least {
			best, least = i, d
		}
	}
	return best
}

package calibrate

import (
	"context"
	"errors"
	"math"

	"layette/steps/internal/geom"
)

const (
	blocks = 40 // pieces of skin that are left out in turn
	rounds = 40 // how often partners are sought at most
)

// target is a surface that samples are fitted to, in the order of the skin.
type target struct {
	mesh    *geom.Mesh
	tree    *geom.Tree
	normals []geom.Point
	detail  float64        // what it is softened to, facets and all, mm
	facets  float64        // what of the squared detail is its facets', mm²
	steeper float64        // by how much less than it is meant for its corners are softened, mm²
	softer  bool           // whether it was filtered at all
	nearest int            // the cut-off nearest to the detail
	slope   [steps]float64 // see slopeAt
}

// newTarget makes a target of m, which was softened by cutoff mm.
func newTarget(ctx context.Context, m *geom.Mesh, cutoff float64, workers int) (*target, error) {
	tree, err := geom.NewTree(ctx, m, workers)
	if err != nil {
		return nil, err
	}
	s := &target{mesh: m, tree: tree, normals: m.VertexNormals(), facets: facets(m), softer: cutoff > 0}
	s.detail = math.Sqrt(float64(cutoff*cutoff) + s.facets)
	s.slope, s.nearest = slopeAt(s.detail), nearestTo(s.detail)
	return s, nil
}

// reading lays p, whose nearest place is h, on the target.
func (s *target) reading(r *relieved, p geom.Vec, h geom.Hit) reading {
	at := reading{hit: h, share: [3]float64{1 - h.V - h.W, h.V, h.W}}
	tri := s.mesh.Tris[h.Tri]
	var wide, sag float64
	for k, v := range tri {
		at.normal = at.normal.Add(s.normals[v].Vec().Mul(at.share[k]))
		d := h.Point.Sub(s.mesh.Verts[v].Vec())
		wide += float64(at.share[k] * d.Len2())
		sag += float64(at.share[k] * d.Dot(r.outward[v]))
	}
	at.normal = at.normal.Unit()
	off := p.Sub(h.Point).Dot(at.normal)
	s.unslide(r, &at, off)
	r.row(s, &at, at.change[:])
	at.left = off - float64((float64(perTime*wide/4)-s.facets)*at.change[0]) + sag/2 - s.sags(r, tri)
	return at
}

// unslide moves a reading along its facet from the foot of a point that lies off
// by so much to the foot that it would have on the skin which the facets stand
// for. A facet is steeper than that skin, since its corners are softened by less,
// and between its corners the skin bows; the foot slides by the distance times
// what the slopes differ. If noise slid the place where the row is told, it would
// stand on both sides of the equations, and lines would seem sharper.
func (s *target) unslide(r *relieved, at *reading, off float64) {
	tri := s.mesh.Tris[at.hit.Tri]
	a, b, c := s.mesh.Corners(int(at.hit.Tri))
	n := b.Sub(a).Cross(c.Sub(a)) // twice the area long
	if n.Len2() == 0 {
		return
	}
	var slide geom.Vec
	var to [3]geom.Vec // how the share of each corner changes with place
	for k, e := range [3]geom.Vec{c.Sub(b), a.Sub(c), b.Sub(a)} {
		v, u := tri[(k+1)%3], tri[(k+2)%3]
		to[k] = n.Cross(e).Mul(1 / n.Len2())
		// The skin's mean slope beside the facet's is the bow of each edge, the sixth
		// part of its length times the turn of the normals along it, over the area.
		turn := e.Dot(s.normals[u].Vec().Sub(s.normals[v].Vec()))
		slide = slide.Add(to[k].Mul(turn/6 + float64(s.steeper*r.perDetail(s, tri[k]))))
	}
	for k := range to {
		at.share[k] -= float64(off * to[k].Dot(slide))
	}
}

// sags returns how far facets of the mean size lie off the form about a triangle,
// mm: its own mean, -1/24 of the sum over its edges of the edge times the change of
// normals along it, and as much more as they are larger. The target allows for
// that; a reading only for what differs.
func (s *target) sags(r *relieved, tri geom.Tri) float64 {
	var off, squares float64
	for k, v := range tri {
		u := tri[(k+1)%3]
		e := s.mesh.Verts[u].Vec().Sub(s.mesh.Verts[v].Vec())
		off -= float64(e.Dot(r.outward[u].Sub(r.outward[v]))) / 24
		squares += e.Len2()
	}
	if squares == 0 || !s.softer {
		return 0
	}
	return off * s.facets / float64(perTime/48*squares)
}

// fit is how far a sample's fit has come.
type fit struct {
	warp
	detail2 float64 // squared detail of the sample on the master, mm²
	odd     []bool  // vertices of the skin that nothing is fitted to; nil for none
	sigma   float64 // robust spread of what is left, mm
	noise   float64 // the part of it that neighbours do not share, mm
	used    float64 // share of the points that have a partner
}

// reading is what one point of the sample says.
type reading struct {
	hit    geom.Hit
	share  [3]float64 // of the corners of the triangle hit, where the point belongs
	left   float64    // how far outside the target it lies, mm
	normal geom.Vec
	weight float64                      // Tukey's; 0 for none
	change [unknowns - detailed]float64 // of left with each unknown of the detail
}

// read lays the points on the target and weighs them by Tukey's biweight, so
// that flash and seams do not pull.
func (c *calibration) read(ctx context.Context, f *fit, s *target, pts []geom.Vec, reach float64) ([]reading, error) {
	here := make([]geom.Vec, len(pts))
	geom.Chunks(len(pts), c.workers, func(lo, hi int) {
		for i := lo; i < hi; i++ {
			here[i] = f.apply(pts[i])
		}
	})
	hits, err := s.tree.ClosestAll(ctx, here, reach, c.workers)
	if err != nil {
		return nil, err
	}
	all := make([]reading, len(pts))
	geom.Chunks(len(pts), c.workers, func(lo, hi int) {
		for i := lo; i < hi; i++ {
			if all[i].hit = hits[i]; hits[i].Tri >= 0 {
				all[i] = s.reading(c.relief, here[i], hits[i])
			}
		}
	})
	return all, f.weigh(all, s)
}

// How far from nothing bending and departures from a Gaussian curve are expected
// to be, give or take: chosen by us, no source.
const (
	bendUsual = 0.01 // of the size, at the distance size from the middle
	wideUsual = 0.3  // of the skin softened by more and less
)

// hold weighs what is expected against n points. While the master's relief is
// left off, these share what is left and are worth no more than some pieces of
// skin.
func (f *fit) hold(of []int, n int) held {
	b, w := f.sigma/float64(bendUsual*f.size), f.sigma/wideUsual
	h := held{float64(b * b), float64(w * w)}
	if len(of) <= terms {
		h.shape *= float64(n) / blocks
	}
	return h
}

// weigh sets the weights by the spread of what is left.
func (f *fit) weigh(all []reading, s *target) error {
	var sizes []float64
	for i := range all {
		if all[i].hit.Tri >= 0 {
			sizes = append(sizes, math.Abs(all[i].left))
		}
	}
	if len(sizes) < 4*terms || len(sizes) < len(all)/4 {
		return errors.New("less than a quarter of the sample finds the master within reach")
	}
	f.sigma, f.used = max(1.4826*median(sizes), 1e-6), float64(len(sizes))/float64(len(all))
	f.noise = alone(all, len(s.mesh.Tris))
	cut := 4.685 * f.sigma
	for i := range all {
		r := &all[i]
		if u := r.left / cut; r.hit.Tri >= 0 && u*u < 1 && !f.isOdd(s.mesh.Tris[r.hit.Tri]) {
			r.weight = float64((1 - float64(u*u)) * (1 - float64(u*u)))
		}
	}
	return nil
}

// isOdd reports whether a triangle has a corner that is not to be fitted to.
func (f *fit) isOdd(tri geom.Tri) bool {
	return f.odd != nil && (f.odd[tri[0]] || f.odd[tri[1]] || f.odd[tri[2]])
}

// equations sums what the readings ask for, by pieces of the sample.
func (c *calibration) equations(ctx context.Context, f *fit, s *target, pts []geom.Vec, all []reading) (*[blocks]*normal, error) {
	parts := &[blocks]*normal{}
	c.each(blocks, func(b int) {
		parts[b] = &normal{}
		for i := b * len(pts) / blocks; i < (b+1)*len(pts)/blocks && ctx.Err() == nil; i++ {
			r := &all[i]
			if r.weight == 0 {
				continue
			}
			var row [unknowns]float64
			// At the point itself, noise would stand on both sides of the equation.
			for j, v := range f.ways(pts[i].Sub(r.normal.Mul(r.left))) {
				row[j] = r.normal.Dot(v)
			}
			copy(row[detailed:], r.change[:])
			parts[b].add(&row, -r.left, r.weight)
		}
	})
	if ctx.Err() != nil {
		return nil, context.Cause(ctx)
	}
	return parts, nil
}

// each calls do for 0..n-1 from as many goroutines as there are workers.
func (c *calibration) each(n int, do func(i int)) {
	done := make(chan struct{})
	workers := max(1, min(c.workers, n))
	for w := range workers {
		go func() {
			for i := w; i < n; i += workers {
				do(i)
			}
			done <- struct{}{}
		}()
	}
	for range workers {
		<-done
	}
}

func whole(parts *[blocks]*normal) *normal {
	all := &normal{}
	for _, p := range parts {
		all.plus(p, 1)
	}
	return all
}

// refine fits the unknowns given to the target until nothing moves.
func (c *calibration) refine(ctx context.Context, f *fit, s *target, pts []geom.Vec, of []int, until float64) error {
	for round := range rounds {
		all, err := c.read(ctx, f, s, pts, float64(c.reach*float64(max(1, 4-round))))
		if err != nil {
			return err
		}
		parts, err := c.equations(ctx, f, s, pts, all)
		if err != nil {
			return err
		}
		step := whole(parts).solve(of, f.hold(of, len(pts)), &f.by)
		f.warp = f.plus(step)
		if len(of) > terms {
			f.detail2 = max(0, float64(s.detail*s.detail)+step[detailed])
		}
		moved := 0.0
		for _, x := range step[:terms] {
			moved += math.Abs(x)
		}
		if moved < until {
			break
		}
	}
	return nil
}

// alone returns the robust spread of what each reading does not share with those
// before and after it along the skin: noise of the scan has it all, a misfit of form
// or of lines has little. (In the order of the points themselves, those would
// stand together that noise has moved alike.)
func alone(all []reading, tris int) float64 {
	first := make([]int32, tris+1)
	for i := range all {
		if all[i].hit.Tri >= 0 {
			first[all[i].hit.Tri+1]++
		}
	}
	for t := range tris {
		first[t+1] += first[t]
	}
	along := make([]float64, first[tris])
	for i := range all {
		if t := all[i].hit.Tri; t >= 0 {
			along[first[t]] = all[i].left
			first[t]++
		}
	}
	var sizes []float64
	for i := 1; i+1 < len(along); i++ {
		sizes = append(sizes, math.Abs(float64(2*along[i])-along[i-1]-along[i+1]))
	}
	if len(sizes) == 0 {
		return 0
	}
	return 1.4826 * median(sizes) / math.Sqrt(6)
}

// median puts sizes in order and returns the middle one.
func median(sizes []float64) float64 { return sorted(sizes)[len(sizes)/2] }

package merge

import (
	"context"
	"fmt"
	"math"

	"layette/engine/step"
	"layette/steps/internal/geom"
	"layette/steps/internal/shot"
	"layette/steps/internal/workpiece"
)

// view is what a scan gives to the surface wherever it is placed, in its own
// frame: 44 bytes a patch. It is kept from run to run, since one scan more or
// less moves all others a little, and no sums of points outlive that.
type view struct {
	patches []patch  // about origin, in the picture's order
	origin  geom.Vec // of the scan's frame
	noise   float64  // mm; NaN if it cannot be told
	spacing float64  // mm between neighbouring patches
	stood   bool     // the scanner stood at the picture's eye
	picture *picture
}

// patch is a bit of skin as one scan saw it: a point, or the mean of a few that
// stand closer together than the surface can show.
type patch struct {
	at, up geom.Point // where it lies, and the normal of the skin
	weight float32    // by viewing angle and nearness of the border
	many   float32    // points in it
	wide   float32    // mm along the skin that it speaks for
	out    float32    // mm that it stands out of the smoothed skin
	jump   float32    // mm that the patches about it lie off its plane at most
}

// look gives the view of a scan: from an earlier run if it was kept, or else from
// the file.
func (m *merger) look(ctx context.Context, f step.File) (*view, error) {
	key := fmt.Sprintf("view %s %s %x %x", f.SHA256, f.Units, m.fade, m.fine())
	if v := m.prior(key); v != nil {
		return v, nil
	}
	piece, err := workpiece.Open(ctx, m.job, f)
	if err != nil {
		return nil, err
	}
	name := workpiece.Piece{File: f}.Base()
	s, err := shot.Look(ctx, piece.Mesh, m.fade, 1)
	switch {
	case err != nil:
		return nil, fmt.Errorf("%s: %w", name, err)
	case s.View.Away:
		return nil, fmt.Errorf("%s: its skin faces away from the scanner: the file is mirrored or its triangles are turned over", name)
	}
	v := m.viewOf(s)
	if m.job.Keep == nil {
		return v, nil // encoding is work
	}
	return v, workpiece.Keep(m.job, key, v.encode())
}

func (m *merger) prior(key string) *view {
	data, ok := workpiece.Kept(m.job, key)
	if !ok {
		return nil
	}
	v, err := decode(data)
	if err != nil {
		return nil
	}
	return v
}

// fine is how far apart points must stand for the surface to show them singly, mm.
func (m *merger) fine() float64 { return 0.75 * m.voxel }

// viewOf leaves out the points that say nothing, draws the picture, gathers what
// stands too close and smooths the skin.
func (m *merger) viewOf(s *shot.Shot) *view {
	v := &view{origin: s.Mesh.Origin, noise: s.Noise, spacing: s.Spacing, stood: s.View.Known}
	eye := s.View.At
	if !v.stood {
		box := s.Mesh.Bounds()
		eye = box.Centre().Add(s.View.Along.Mul(20 * box.Size().Len()))
	}
	all := make([]patch, 0, len(s.Mesh.Verts))
	for i, at := range s.Mesh.Verts {
		w := m.weigh(s, i)
		if s.Local[i] == 0 || w == 0 {
			continue
		}
		wide := spread * min(max(float64(s.Local[i]), s.Spacing), 1.25*s.Spacing)
		all = append(all, patch{at: at, up: s.Normals[i].Point(), weight: float32(w), many: 1, wide: float32(wide)})
	}
	if len(all) == 0 {
		return v
	}
	cell := 1.5 * s.Spacing
	if m.fine() > 1.2*s.Spacing {
		cell = m.fine()
	}
	v.picture, v.patches = newPicture(eye, all, cell)
	if m.fine() > 1.2*s.Spacing {
		v.gather(m.fine())
	}
	v.smooth()
	v.jumps()
	return v
}

// smooth finds the smoothed skin at every patch: the weighted mean of what its
// neighbours say, each by its distance across the mean of the two normals. This
// is one step of a moving-least-squares projection (D. Levin 1998; from memory)
// with the symmetric distance of S. Rusinkiewicz (see settle).
func (v *view) smooth() {
	for i := range v.patches {
		p := &v.patches[i]
		at, up := p.at.Vec(), p.up.Vec()
		r := 0.75 * float64(p.wide)
		var push, weight float64
		loU, hiU, loV, hiV := v.picture.cells(at, r)
		for row := loV; row <= hiV && loU <= hiU; row++ {
			about := v.picture.row(v.patches, loU, hiU, row)
			for k := range about {
				q := &about[k]
				d, normal := at.Sub(q.at.Vec()), q.up.Vec()
				turn := normal.Dot(up)
				if turn < 0.5 {
					continue
				}
				across := (normal.Dot(d) + up.Dot(d)) / math.Sqrt(2+2*turn)
				u := 1 - (d.Len2()-float64(across*across))/float64(r*r)
				if u <= 0 || math.Abs(across) > r {
					continue
				}
				u = float64(u * u * float64(q.weight) * float64(q.many))
				push, weight = push+float64(u*across), weight+u
			}
		}
		if weight > 0 {
			p.out = float32(push / weight)
		}
	}
}

// jumps finds how far the patches in the cells about each lie off its plane, so
// that nobody looks there for what cannot be there.
func (v *view) jumps() {
	w := v.picture
	for c := range w.nx * w.ny {
		i, j := c%w.nx, c/w.nx
		for k := w.first[c]; k < w.first[c+1]; k++ {
			p, most := &v.patches[k], 0.0
			at, up := p.at.Vec(), p.up.Vec()
			for row := max(j-1, 0); row <= min(j+1, w.ny-1); row++ {
				for _, q := range w.row(v.patches, max(i-1, 0), min(i+1, w.nx-1), row) {
					most = max(most, math.Abs(q.at.Vec().Sub(at).Dot(up)))
				}
			}
			p.jump = float32(most)
		}
	}
}

// spread is how many spacings along the skin a point speaks for: the least at
// which every place between points that fell on a slanted square grid is
// reached by three.
const spread = 1.6

// least is the weight of the worst point against the best: where nothing else
// sees the skin it must still count.
const least = 1e-3

// weigh returns the weight of a point: the square of the cosine of the viewing
// angle, less from 60 degrees on, and fading to nearly nothing at the border of
// the patch, so that a surface made of many has no step where one begins.
func (m *merger) weigh(s *shot.Shot, v int) float64 {
	cos := float64(s.Cos[v])
	if s.Normals[v] == (geom.Vec{}) || cos <= 0 {
		return 0
	}
	w := float64(cos * cos)
	if cos < 0.5 {
		w *= 2 * cos
	}
	t := min(float64(s.Border[v])/m.fade, 1)
	return max(float64(w*ease(t)), least)
}

// ease rises from 0 to 1 without a corner.
func ease(t float64) float64 { return float64(t*t) * (3 - 2*t) }

package align

import (
	"context"
	"fmt"
	"math"

	"layette/steps/internal/draw"
	"layette/steps/internal/geom"
	"layette/steps/internal/workpiece"
)

// inks are colours far from each other also for colour-blind eyes: M. Okabe and
// K. Ito's set (from memory), black left out. Scans are drawn in tints of them.
var inks = [][3]uint8{{230, 159, 0}, {86, 180, 233}, {0, 158, 115}, {240, 228, 66}, {0, 114, 178}, {213, 94, 0}, {204, 121, 167}}

// tint returns the calm colour of the k-th scan: an ink let down with the grey
// of clay, by a third, a half or two thirds in turn.
func tint(k int) [4]uint8 {
	ink, clay := inks[k%len(inks)], [3]int{214, 208, 200}
	parts := 2 + k/len(inks)%3
	var c [4]uint8
	for i := range 3 {
		c[i] = uint8((int(ink[i])*(6-parts) + clay[i]*parts) / 6)
	}
	c[3] = 255
	return c
}

// placed lays the thinned scans side by side in the common frame, each in its
// tint. Scans of points alone get a small triangle at each.
func (r *result) placed() *geom.Mesh {
	m := &geom.Mesh{}
	for k, i := range r.byName() {
		if !r.g.in[i] {
			continue
		}
		c, at, first := r.s.scans[i].view, r.g.at[i], int32(len(m.Verts))
		for p := range c.Points {
			m.Verts = append(m.Verts, at.Apply(c.Points[p].Vec()).Point())
		}
		for _, t := range c.Tris {
			m.Tris = append(m.Tris, geom.Tri{t[0] + first, t[1] + first, t[2] + first})
		}
		if len(c.Tris) == 0 {
			m.Verts = m.Verts[:first]
			for p := range c.Points {
				flake(m, at.Apply(c.Points[p].Vec()), at.Rot.Apply(c.Normals[p].Vec()), 0.6*c.Spacing)
			}
		}
		for len(m.Colours) < len(m.Verts) {
			m.Colours = append(m.Colours, tint(k))
		}
	}
	return m
}

// flake adds a triangle of about side mm at p, square to n.
func flake(m *geom.Mesh, p, n geom.Vec, side float64) {
	x := n.Cross(geom.Vec{X: 1})
	if math.Abs(n.X) > 0.7 {
		x = n.Cross(geom.Vec{Y: 1})
	}
	x = x.Unit().Mul(side)
	y, first := n.Cross(x), int32(len(m.Verts))
	m.Verts = append(m.Verts, p.Add(x).Point(), p.Add(y).Sub(x).Point(), p.Sub(y).Sub(x).Point())
	m.Tris = append(m.Tris, geom.Tri{first, first + 1, first + 2})
}

// pictureSize is the size of the pictures; most tests draw smaller ones.
var pictureSize = draw.Usual

// picture draws the placed scans from two opposite sides, the part's length
// upright.
func (r *result) picture(ctx context.Context, m *geom.Mesh) error {
	axes := spreadAxes(m)
	scene := draw.Scene{Title: "placed scans", Mesh: m, Skin: true, Workers: r.s.job.Workers,
		Note: fmt.Sprintf("%d of %d scans, each in its own tint", len(r.g.order), len(r.s.scans))}
	for k, side := range []string{"one side", "the other side"} {
		v := draw.View{Name: side, Dir: axes[0].Mul(float64(1 - 2*k)), Up: axes[2]}
		p, err := draw.Draw(ctx, scene, v, pictureSize)
		if err != nil {
			return err
		}
		if err := workpiece.WritePicture(r.s.job, "pictures", [2]string{"placed.png", "placed-behind.png"}[k], p); err != nil {
			return err
		}
	}
	return nil
}

// spreadAxes returns the directions in which the vertices spread least, more
// and most, brought to a hundredth so that the last bits of long sums do not
// show in a picture, and signed so that the largest share is positive.
func spreadAxes(m *geom.Mesh) [3]geom.Vec {
	mid := m.Bounds().Centre()
	var s geom.Mat
	for _, p := range m.Verts {
		d := p.Vec().Sub(mid)
		v := [3]float64{d.X, d.Y, d.Z}
		for a := range 3 {
			for b := range 3 {
				s[a][b] += float64(v[a] * v[b])
			}
		}
	}
	_, axes := geom.Eigen3(s)
	for k, a := range axes {
		a = geom.Vec{X: round(a.X, 0.01), Y: round(a.Y, 0.01), Z: round(a.Z, 0.01)}
		most := a.X
		for _, x := range [2]float64{a.Y, a.Z} {
			if math.Abs(x) > math.Abs(most) {
				most = x
			}
		}
		if most < 0 {
			a = a.Mul(-1)
		}
		axes[k] = a
	}
	return axes
}

package draw

import (
	"image"
	"math"

	"layette/steps/internal/geom"
)

// View says from where a part is seen.
type View struct {
	Name string   // such as "front"; shown under the title
	Dir  geom.Vec // from the part to the eye; any length but zero
	Up   geom.Vec // what is up in the picture; zero means +Z
	// PerMM draws a true-scale view: parallel sight, this many pixels per mm.
	// Zero fits the part into the picture.
	PerMM float64
	// Parallel draws without perspective even when PerMM is zero.
	Parallel bool
	// Around and Reach show only what lies within Reach mm of Around. A Reach
	// of zero shows the whole part.
	Around geom.Vec
	Reach  float64
}

// The six plain views of a part that stands along +Z and faces +Y.
var (
	Front = View{Name: "front", Dir: geom.Vec{Y: 1}}
	Back  = View{Name: "back", Dir: geom.Vec{Y: -1}}
	Left  = View{Name: "its left", Dir: geom.Vec{X: -1}}
	Right = View{Name: "its right", Dir: geom.Vec{X: 1}}
	Above = View{Name: "above", Dir: geom.Vec{Z: 1}, Up: geom.Vec{Y: -1}}
	Below = View{Name: "below", Dir: geom.Vec{Z: -1}, Up: geom.Vec{Y: 1}}
)

// A camera turns points into places in the picture. In its frame x runs to the
// right, y up and z to the eye, in mm about centre.
type camera struct {
	x, y, z geom.Vec
	centre  geom.Vec
	scale   float64 // pixels per mm at z = 0
	eye     float64 // mm from centre to the eye; 0 means parallel sight
	cx, cy  float64 // where centre falls in the picture
}

// frame returns a right-handed frame whose z is dir and whose y is as near to
// up as can be.
func frame(dir, up geom.Vec) (x, y, z geom.Vec) {
	z = dir.Unit()
	if z == (geom.Vec{}) || !z.Finite() {
		z = geom.Vec{Y: 1}
	}
	x = up.Cross(z)
	if !x.Finite() || x.Len2() < 1e-6*up.Len2() || up.Len2() == 0 {
		if x = (geom.Vec{Z: 1}).Cross(z); x.Len2() < 1e-6 {
			x = geom.Vec{Y: 1}.Cross(z)
		}
	}
	x = x.Unit()
	return x, z.Cross(x), z
}

// eyeRadii is how far the eye stands from the part's middle, in radii of the
// ball around what is shown: about the distance from which one looks at a head
// on a bench, so that a face is not swollen by perspective.
const eyeRadii = 5

// aim places a camera so that what v shows fills stage.
func aim(s Scene, v View, stage image.Rectangle) camera {
	var c camera
	c.x, c.y, c.z = frame(v.Dir, v.Up)
	box := s.Mesh.Bounds()
	c.centre = box.Centre()
	radius := max(box.Size().Len()/2, 1e-6)
	if v.PerMM <= 0 && !v.Parallel {
		c.eye = eyeRadii * radius
	}
	if v.Reach > 0 {
		c.centre = v.Around
		if c.eye > 0 {
			c.eye = float64(eyeRadii*v.Reach) + radius + v.Around.Sub(box.Centre()).Len()
		}
	}
	c.scale = 1
	lo, hi := c.extent(s, v.Reach)
	w, h := float64(stage.Dx()), float64(stage.Dy())
	c.scale = min(w/max(hi[0]-lo[0], 1e-9), h/max(hi[1]-lo[1], 1e-9))
	if v.PerMM > 0 {
		c.scale = v.PerMM
	}
	c.cx = float64(stage.Min.X) + w/2 - float64(c.scale*(lo[0]+hi[0])/2)
	c.cy = float64(stage.Min.Y) + h/2 - float64(c.scale*(lo[1]+hi[1])/2)
	return c
}

// extent returns the corners of the picture, in pixels about centre, of what
// is to be shown.
func (c *camera) extent(s Scene, reach float64) (lo, hi [2]float64) {
	if reach > 0 {
		r := reach * c.scale
		return [2]float64{-r, -r}, [2]float64{r, r}
	}
	lo = [2]float64{math.Inf(1), math.Inf(1)}
	hi = [2]float64{math.Inf(-1), math.Inf(-1)}
	c.cx, c.cy = 0, 0
	for _, p := range s.Mesh.Verts {
		if s.Cut != nil && s.Cut.Normal.Dot(p.Vec().Sub(s.Cut.At)) > 0 {
			continue
		}
		x, y, d := c.project(p.Vec())
		if d == 0 || x-x != 0 || y-y != 0 {
			continue
		}
		lo[0], hi[0] = min(lo[0], x), max(hi[0], x)
		lo[1], hi[1] = min(lo[1], y), max(hi[1], y)
	}
	if !(lo[0] <= hi[0]) {
		return [2]float64{-1, -1}, [2]float64{1, 1}
	}
	return lo, hi
}

// project returns where p falls in the picture, in pixels, and its nearness:
// larger is nearer, and linear across the picture (z itself in parallel
// sight, one over the distance to the eye in perspective). A point at or
// behind the eye has nearness 0 in perspective.
func (c *camera) project(p geom.Vec) (x, y, near float64) {
	q := p.Sub(c.centre)
	x, y, near = q.Dot(c.x)*c.scale, q.Dot(c.y)*c.scale, q.Dot(c.z)
	if c.eye > 0 {
		far := c.eye - near
		if far <= c.eye*1e-3 {
			return 0, 0, 0
		}
		near = 1 / far
		f := c.eye * near
		x, y = x*f, y*f
	}
	return c.cx + x, c.cy - y, near
}

// depth returns z in mm for a nearness.
func (c *camera) depth(near float64) float64 {
	if c.eye > 0 {
		return c.eye - 1/near
	}
	return near
}

// place returns the point in space, in the camera's frame, that falls on
// (x, y) at depth z.
func (c *camera) place(x, y, z float64) geom.Vec {
	k := 1 / c.scale
	if c.eye > 0 {
		k = float64(k*(c.eye-z)) / c.eye
	}
	return geom.Vec{X: float64((x - c.cx) * k), Y: float64((c.cy - y) * k), Z: z}
}

// turn returns direction d in the camera's frame.
func (c *camera) turn(d geom.Vec) geom.Vec {
	return geom.Vec{X: d.Dot(c.x), Y: d.Dot(c.y), Z: d.Dot(c.z)}
}

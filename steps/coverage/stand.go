package coverage

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"

	"layette/steps/internal/geom"
	"layette/steps/internal/poses"
	"layette/steps/internal/shot"
	"layette/steps/internal/workpiece"
)

// stand is where a scanner stood, in the part's frame.
type stand struct {
	name      string
	at        geom.Vec
	along     geom.Vec // line of sight
	cone      float64  // cosine of the widest angle to it at which there are points
	near, far float64  // mm to the nearest and the farthest point
}

// stands reads where the scanner stood for each placed scan whose file shows it.
func (c *cover) stands(ctx context.Context) error {
	c.distance = c.job.Values.Float("stand")
	files := c.job.Inputs["scans"]
	if len(files) == 0 || len(c.job.Inputs["poses"]) == 0 {
		c.notes = append(c.notes, "Without the scans and their places it cannot be told who looked where: causes are told by shape alone.")
		return nil
	}
	table, err := poses.Open(c.job, "poses")
	if err != nil {
		return err
	}
	found := make([]*stand, len(files))
	c.job.Progress.Start("finding where the scanner stood", len(files))
	err = geom.Each(ctx, len(files), c.job.Workers, func(i int) {
		defer c.job.Progress.Add(1)
		place, ok := table.For(files[i])
		if !ok || !place.Placed {
			return
		}
		piece, err := workpiece.Open(ctx, c.job, files[i])
		if err != nil {
			return // intake and merge have told of it
		}
		if view := shot.Stand(piece.Mesh); view.Known {
			found[i] = stood(piece.Base(), piece.Mesh, place.Pose(), view, c.m.Origin)
		}
	})
	if err != nil {
		return err
	}
	var usual []float64
	for _, s := range found {
		if s != nil {
			c.shots = append(c.shots, *s)
			usual = append(usual, (s.near+s.far)/2)
		}
	}
	if len(usual) == 0 {
		c.notes = append(c.notes, "No scan shows where the scanner stood: causes are told by shape alone.")
		return nil
	}
	slices.Sort(usual)
	c.distance = usual[len(usual)/2]
	return nil
}

// stood measures the window of a scan.
func stood(name string, m *geom.Mesh, pose geom.Pose, view shot.View, origin geom.Vec) *stand {
	s := &stand{name: name, near: math.Inf(1), cone: 1}
	var mean geom.Vec
	for _, p := range m.Verts {
		mean = mean.Add(p.Vec().Sub(view.At))
	}
	axis := mean.Unit()
	for _, p := range m.Verts {
		d := p.Vec().Sub(view.At)
		l := d.Len()
		s.near, s.far = min(s.near, l), max(s.far, l)
		s.cone = min(s.cone, d.Dot(axis)/l)
	}
	s.at = pose.Apply(view.At.Add(m.Origin)).Sub(origin)
	s.along = pose.Rot.Apply(axis)
	return s
}

// covers reports whether p lies in the window of a shot.
func (s *stand) covers(p geom.Vec) bool {
	d := p.Sub(s.at)
	l := d.Len()
	return l >= s.near && l <= s.far && d.Dot(s.along) >= float64(s.cone*l)
}

// cause is why a place was likely not seen.
type cause string

const (
	hollow  cause = "hollow"
	wet     cause = "wet"
	grazing cause = "grazing"
	missed  cause = "missed"
	pinhole cause = "pinhole"
)

var says = map[cause]string{
	hollow:  "a hollow.",
	wet:     "it was in clear sight and nothing came back: wet, shiny, dark or hairy skin.",
	grazing: "it was seen only from the side.",
	missed:  "nobody looked here.",
	pinhole: "a pinhole.",
}

// explain finds cause and advice for every place.
func (c *cover) explain(ctx context.Context) error {
	c.job.Progress.Start("looking out of unseen places", len(c.places))
	return geom.Each(ctx, len(c.places), c.job.Workers, func(i int) {
		defer c.job.Progress.Add(1)
		p := c.places[i]
		if p.wide < c.job.Values.Float("least") {
			p.cause, p.advice = pinhole, "Too small to hide anything: sculpt over it."
			return
		}
		open := c.sky(p)
		c.why(p, open)
		c.advise(p, open)
	})
}

// sight is a direction and how much of a place is in clear sight from there.
type sight struct {
	dir  geom.Vec
	free float64
}

// directions are spread evenly enough over the sphere: the points of a cube's
// faces on a grid of seven.
var directions = func() (all []geom.Vec) {
	for x := -3; x <= 3; x++ {
		for y := -3; y <= 3; y++ {
			for z := -3; z <= 3; z++ {
				if max(x, -x, y, -y, z, -z) == 3 {
					all = append(all, geom.Vec{X: float64(x), Y: float64(y), Z: float64(z)}.Unit())
				}
			}
		}
	}
	return all
}()

// sky returns, for the directions above a place, how much of it they see.
func (c *cover) sky(p *place) []sight {
	var list []sight
	from := p.samples(c.m)
	for _, d := range directions {
		if d.Dot(p.normal) < 0.2 {
			continue
		}
		list = append(list, sight{d, c.free(from, d, c.distance)})
	}
	return list
}

// free returns the share of places from which nothing is met within reach.
func (c *cover) free(from []geom.Vec, d geom.Vec, reach float64) float64 {
	n := 0
	for _, q := range from {
		if !c.tree.Any(q, d, 0, reach) {
			n++
		}
	}
	return float64(n) / float64(len(from))
}

// covered is the share of the sky above a place, weighed by how squarely it
// looks down, below which a place counts as a hollow.
const covered = 0.5

// goodAngle is the cosine of 60 degrees.
const goodAngle = 0.5

func (c *cover) why(p *place, open []sight) {
	var clear, all float64
	for _, s := range open {
		w := s.dir.Dot(p.normal)
		clear, all = clear+float64(w*s.free), all+w
	}
	best := 0.0 // the squarest look that anybody had
	from := p.samples(c.m)
	for _, s := range c.shots {
		if d := s.at.Sub(p.at); s.covers(p.at) && c.free(from, d.Unit(), d.Len()) > 0.5 {
			best = max(best, d.Unit().Dot(p.normal))
		}
	}
	switch {
	case all == 0 || clear < covered*all:
		p.cause = hollow
	case best >= goodAngle:
		p.cause = wet
	case best > 0:
		p.cause = grazing
	default:
		p.cause = missed
	}
}

// advise says where to stand.
func (c *cover) advise(p *place, open []sight) {
	best, value := sight{}, 0.0
	for _, s := range open {
		if v := s.free * s.dir.Dot(p.normal); v > value {
			best, value = s, v
		}
	}
	if best.free < 0.3 {
		p.advice = "No shot from outside reaches it: take it from a casting, or sculpt it."
		return
	}
	p.advice = fmt.Sprintf("Stand %.0f mm off, %s.", math.Round(c.distance/10)*10, c.way(p.at, best.dir))
	if p.cause == hollow {
		p.advice += " Look straight into it."
	}
	if p.cause == wet {
		p.advice += " Another angle, or dry skin, may help; the lips of a sleeping child are left alone."
	}
}

// way tells a direction from the place at by the shots that were taken, since a
// part that was placed by its shots alone has no front: so many degrees round
// from the nearest shot, towards another or away from it. Without shots it is
// told as a vector in the surface's own frame.
func (c *cover) way(at, dir geom.Vec) string {
	toward := func(s stand) geom.Vec { return s.at.Sub(at).Unit() }
	vector := fmt.Sprintf("in the direction (%.2f, %.2f, %.2f) of the surface's own frame", dir.X+0, dir.Y+0, dir.Z+0)
	if len(c.shots) == 0 {
		return vector
	}
	near := slices.MaxFunc(c.shots, func(a, b stand) int { return cmp.Compare(toward(a).Dot(dir), toward(b).Dot(dir)) })
	from := toward(near)
	angle := 5 * math.Round(math.Acos(min(max(from.Dot(dir), -1), 1))*180/math.Pi/5)
	if angle < 10 {
		return "about where " + near.name + " was taken"
	}
	turn := across(dir, from)
	best, how := 0.7, ""
	for _, s := range c.shots {
		side := across(toward(s), from)
		cos := side.Dot(turn)
		if math.Abs(cos) <= best {
			continue
		}
		best, how = math.Abs(cos), ", towards where "+s.name+" was taken"
		if cos < 0 {
			how = ", away from where " + s.name + " was taken"
		}
	}
	if how == "" {
		how = ", " + vector
	}
	return fmt.Sprintf("%.0f degrees round from where %s was taken%s", angle, near.name, how)
}

// across returns the direction in which d turns off from axis, zero if it
// hardly does.
func across(d, axis geom.Vec) geom.Vec {
	side := d.Sub(axis.Mul(d.Dot(axis)))
	if side.Len() < 0.1 {
		return geom.Vec{}
	}
	return side.Unit()
}

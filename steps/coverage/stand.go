package coverage

import (
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
)

var says = map[cause]string{
	hollow:  "a hollow.",
	wet:     "it was in clear sight and nothing came back: wet, shiny, dark or hairy skin.",
	grazing: "it was seen only from the side.",
	missed:  "nobody looked here.",
}

// explain finds cause and advice for every place.
func (c *cover) explain(ctx context.Context) error {
	c.job.Progress.Start("looking out of unseen places", len(c.places))
	return geom.Each(ctx, len(c.places), c.job.Workers, func(i int) {
		p := c.places[i]
		open := c.sky(p)
		c.why(p, open)
		c.advise(p, open)
		c.job.Progress.Add(1)
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
	at := p.at.Add(best.dir.Mul(c.distance))
	p.advice = fmt.Sprintf("Stand %.0f mm off: %s.", math.Round(c.distance/10)*10, words(best.dir))
	near, far := "", math.Inf(1)
	for _, s := range c.shots {
		if d := s.at.Sub(at).Len(); d < far {
			near, far = s.name, d
		}
	}
	if near != "" {
		p.advice += fmt.Sprintf(" The nearest shot is %s, taken %.0f mm from there.", near, math.Round(far/5)*5)
	}
	if p.cause == hollow {
		p.advice += " Look straight into it."
	}
	if p.cause == wet {
		p.advice += " Another angle, or dry skin, may help; the lips of a sleeping child are left alone."
	}
}

// words tells a direction by the part's own sides, the strongest first.
func words(d geom.Vec) string {
	type way struct {
		name string
		much float64
	}
	side := func(x float64, plus, minus string) way {
		if x < 0 {
			return way{minus, -x}
		}
		return way{plus, x}
	}
	ways := []way{side(d.Y, "in front", "behind"), side(d.X, "to the right", "to the left"), side(d.Z, "above", "below")}
	slices.SortStableFunc(ways, func(a, b way) int {
		switch {
		case a.much > b.much:
			return -1
		case a.much < b.much:
			return 1
		}
		return 0
	})
	text := ways[0].name
	if ways[1].much > 0.35 {
		text += " and " + ways[1].name
	} else if ways[1].much > 0.15 {
		text += ", a little " + ways[1].name
	}
	return text
}

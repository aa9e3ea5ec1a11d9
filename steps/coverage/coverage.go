// Package coverage is the step that tells what of a part no scan saw, why, and
// where to stand for the next shot.
package coverage

import (
	"cmp"
	"context"
	"encoding/csv"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"layette/engine/step"
	"layette/steps/internal/geom"
	"layette/steps/internal/meshio"
	"layette/steps/internal/workpiece"
)

// Kind is the step.
type Kind struct{}

// Handbook implements step.Kind.
func (Kind) Handbook() step.Handbook {
	share := func(name, doc string) step.Measure {
		return step.Measure{Name: name, Type: step.Share, Resolution: 1e-4, Doc: doc}
	}
	return step.Handbook{
		Name:    "coverage",
		Version: 6,
		Summary: "Tells what no scan saw, the likely cause, and where to stand for the next shot.",
		Method: "Unseen places are the holes of the joined surface and its invented skin (seen = 0). As many of the largest as the part has " +
			"openings of its own (a neck, a wrist) are set apart.\n\n" +
			"For each place rays are cast from it through the air: where most meet skin, it is a hollow. Where a scanner stood in clear sight, " +
			"nearly square on and close enough, and still nothing came back, the skin is wet, shiny, dark or hairy. Where scanners saw it only from " +
			"the side it was grazing. Otherwise nobody looked. Of pinholes no cause is told.\n\n" +
			"The advice is the direction from which most of the place is in clear sight, nearest to square on, at the distance of the other shots. " +
			"It is told from where other shots were taken, so many degrees round from the nearest and towards another or away from it, since a part " +
			"placed by its shots alone has no front of its own.",
		Sources: []string{
			"Gupta et al., Int J Comput Vis 2013: folds and skin both degrade structured light, so creases, ears and gaps between fingers stay doubtful however many shots see them (abstract)",
			"Heike et al., Head Face Med 2010;6:18, and clinical capture guides (from memory): wet lips, nostrils, ear canals, hairline and under the chin stay unseen",
			"60 degrees as the limit of a good viewing angle: common practice, no source",
		},
		Cautions: []string{"A newborn is not turned or held for the sake of a scan: who may handle the child, and how, is for parents and nursing staff to say. Mind the light near the eyes; follow the scanner maker's and local rules."},
		Inputs: []step.Input{
			{Name: "surface", Kind: step.Surface, Doc: "the joined surface, from merge"},
			{Name: "scans", Kind: step.Scan, Many: true, Named: true, Optional: true, Doc: "the scans it was made of: where the scanner stood"},
			{Name: "poses", Kind: step.Rows, Optional: true, Doc: "where they lie, from align"},
		},
		Values: []step.Value{
			{Name: "openings", Type: step.Count, Default: "1", Min: "0", Max: "20", Doc: "how many openings the part has of its own", Origin: "common practice: a head or a limb has one"},
			{Name: "least", Type: step.Length, Default: "1 mm", Min: "0.01 mm", Doc: "narrower places are pinholes: counted, not shown", Origin: "common practice, no source"},
			{Name: "wide", Type: step.Length, Default: "6 mm", Doc: "wider places are faults: too much to invent", Origin: "common practice, no source"},
			{Name: "stand", Type: step.Length, Default: "220 mm", Min: "10 mm", Doc: "how far off to stand, if the scans do not tell", Origin: "ask your scanner's maker"},
			{Name: "spots", Type: step.Count, Default: "40", Min: "1", Max: "1000", Doc: "how many places are shown at most"},
		},
		Measures: []step.Measure{
			share("unseen.share", "share of the skin that no scan saw, openings left out"),
			{Name: "unseen.area", Type: step.Area, Resolution: 0.01, Doc: "the same in mm²; of a hole, its flat area"},
			{Name: "unseen.places", Type: step.Count, Doc: "how many places no scan saw"},
			{Name: "unseen.wide", Type: step.Count, Doc: "how many of them are wider than allowed"},
			{Name: "unseen.widest", Type: step.Length, Resolution: 0.01, Doc: "width of the widest"},
			share("seen.once", "share of the seen skin that one scan saw"),
			share("seen.twice", "share that two scans saw"),
			share("seen.more", "share that three or more saw"),
			{Name: "openings", Type: step.Count, Doc: "openings of the part's own that were found"},
			{Name: "openings.area", Type: step.Area, Resolution: 0.01, Doc: "their flat area, or the skin invented over them: is it as large as the cut?"},
			{Name: "hollow", Type: step.Count, Doc: "unseen places in hollows"},
			{Name: "wet", Type: step.Count, Doc: "unseen places that were looked at and gave nothing back"},
			{Name: "grazing", Type: step.Count, Doc: "unseen places that were seen only from the side"},
			{Name: "missed", Type: step.Count, Doc: "unseen places where nobody looked"},
			{Name: "pinholes", Type: step.Count, Doc: "unseen places narrower than `least`: no cause is told of them"},
		},
		Outputs: []step.Output{
			{Name: "map", Kind: step.Surface, Doc: "the surface with the number of scans at each vertex (property scans)"},
			{Name: "places", Kind: step.Rows, Doc: "every unseen place: where, how wide, cause, advice (CSV)"},
		},
		Memory: 8,
	}
}

// Run implements step.Kind.
func (Kind) Run(ctx context.Context, job *step.Job) (*step.Outcome, error) {
	m, err := workpiece.Surface(ctx, job, "surface")
	if err != nil {
		return nil, err
	}
	if len(m.Seen) == 0 {
		return nil, fmt.Errorf("%s: it does not say how many scans saw each vertex (property seen): give the surface that merge made", job.Inputs["surface"][0].Name)
	}
	if slices.Max(m.Seen) == 0 {
		return nil, fmt.Errorf("%s: no scan saw any of it (property seen is 0 everywhere): give the surface that merge made", job.Inputs["surface"][0].Name)
	}
	c := &cover{job: job, m: m}
	if c.edges, err = m.Edges(ctx, job.Workers); err != nil {
		return nil, err
	}
	if c.tree, err = geom.NewTree(ctx, m, job.Workers); err != nil {
		return nil, err
	}
	if err := c.stands(ctx); err != nil {
		return nil, err
	}
	c.normals = m.VertexNormals()
	c.find()
	if err := c.explain(ctx); err != nil {
		return nil, err
	}
	if err := c.write(); err != nil {
		return nil, err
	}
	return &step.Outcome{Measures: c.measures(), Spots: c.spots(), Notes: c.notes}, nil
}

// cover is what is known of one part.
type cover struct {
	job      *step.Job
	m        *geom.Mesh
	edges    *geom.Edges
	tree     *geom.Tree
	normals  []geom.Point
	shots    []stand
	distance float64 // mm from the skin that the scanner usually stood
	places   []*place
	openings int
	own      float64 // mm² of the openings
	notes    []string
}

// write writes the map and the table.
func (c *cover) write() error {
	col := make([]float32, len(c.m.Seen))
	for v, n := range c.m.Seen {
		col[v] = float32(n)
	}
	if err := workpiece.Write(c.job, "map", "coverage.ply", c.m, meshio.Column{Name: "scans", Values: col}); err != nil {
		return err
	}
	var b strings.Builder
	w := csv.NewWriter(&b)
	w.Write([]string{"place", "x mm", "y mm", "z mm", "wide mm", "long mm", "skin mm2", "cause", "advice"})
	for i, p := range c.places {
		at := p.at.Add(c.m.Origin)
		w.Write([]string{strconv.Itoa(i + 1), one(at.X), one(at.Y), one(at.Z), one(p.wide), one(p.long()), one(p.area), string(p.cause), p.advice})
	}
	w.Flush()
	return workpiece.WriteText(c.job, "places", "places.csv", b.String())
}

func one(x float64) string { return strconv.FormatFloat(math.Round(x*10)/10+0, 'f', 1, 64) }

func (c *cover) measures() map[string]any {
	var seen [4]geom.Sum
	for t, tri := range c.m.Tris {
		if c.m.Seen[tri[0]] == 0 || c.m.Seen[tri[1]] == 0 || c.m.Seen[tri[2]] == 0 {
			continue // invented
		}
		a, b, e := c.m.Corners(t)
		third := b.Sub(a).Cross(e.Sub(a)).Len() / 6
		for _, v := range tri {
			seen[min(c.m.Seen[v], 3)].Add(third)
		}
	}
	count := map[cause]int64{}
	var area, widest float64
	wide := int64(0)
	for _, p := range c.places {
		count[p.cause]++
		area += p.area
		widest = max(widest, p.wide)
		if p.wide > c.job.Values.Float("wide") {
			wide++
		}
	}
	all := seen[1].Total() + seen[2].Total() + seen[3].Total()
	return map[string]any{
		"unseen.share": area / (area + all), "unseen.area": area, "unseen.places": int64(len(c.places)), "unseen.wide": wide, "unseen.widest": widest,
		"seen.once": seen[1].Total() / all, "seen.twice": seen[2].Total() / all, "seen.more": seen[3].Total() / all,
		"openings": int64(c.openings), "openings.area": c.own, "hollow": count[hollow], "wet": count[wet], "grazing": count[grazing], "missed": count[missed], "pinholes": count[pinhole],
	}
}

// spots shows the widest places.
func (c *cover) spots() []step.Spot {
	var spots []step.Spot
	for _, p := range c.places {
		if len(spots) == c.job.Values.Int("spots") || p.wide < c.job.Values.Float("least") {
			break
		}
		at := p.at.Add(c.m.Origin)
		spots = append(spots, step.Spot{
			Number: len(spots) + 1, What: "unseen, " + string(p.cause), At: [3]float64{at.X, at.Y, at.Z}, Radius: p.wide / 2,
			Value: p.wide, Unit: "mm", Surface: "map", Fault: p.wide > c.job.Values.Float("wide"), Ring: p.outline(c.m),
			Says: fmt.Sprintf("%.1f mm wide and %.1f mm long, %.0f mm² of skin no scan saw: %s %s", p.wide, p.long(), p.area, says[p.cause], p.advice),
		})
	}
	return spots
}

// bySize puts the largest first.
func bySize(a, b *place) int {
	return cmp.Or(cmp.Compare(b.area, a.area), cmp.Compare(a.first, b.first))
}

// find gathers holes and invented skin, the largest first, and sets the part's
// own openings apart.
func (c *cover) find() {
	c.places = append(c.holes(), c.invented()...)
	slices.SortFunc(c.places, bySize)
	c.openings = min(c.job.Values.Int("openings"), len(c.places))
	for _, p := range c.places[:c.openings] {
		c.own += p.area
	}
	c.places = c.places[c.openings:]
	slices.SortStableFunc(c.places, func(a, b *place) int { return cmp.Compare(b.wide, a.wide) })
}

// Package likeness is the step that compares a surface with the one it was
// made from: the sculpted head with the merged scans, a casting with the live
// hand, a forecast with the sample that came back. It catches the part that
// was scaled or moved by accident, and shows every place that changed more
// than the recipe allows.
package likeness

import (
	"context"
	"fmt"
	"math"
	"slices"

	"layette/engine/step"
	"layette/steps/internal/geom"
	"layette/steps/internal/meshio"
	"layette/steps/internal/workpiece"
)

// Kind is the step.
type Kind struct{}

// Handbook implements step.Kind.
func (Kind) Handbook() step.Handbook {
	return step.Handbook{
		Name:    "likeness",
		Version: 3,
		Summary: "Compares a surface with the one it was made from.",
		Method: "From every vertex of the surface the nearest place of the reference is sought; the distance counts positive " +
			"where the surface lies outside. Means, percentiles and shares are weighted by the skin each vertex stands for. " +
			"Places farther than `reach`, places beyond the rim of an open reference (where it was cut or nobody saw the skin), and places over its invented skin (property seen = 0) have no partner and are counted apart.\n\n" +
			"Drift is what the whole surface did: a scale, a turn and a shift that bring the reference nearest to the surface " +
			"by point-to-plane fitting with Tukey's weights, so that places changed on purpose do not pull. What is left after " +
			"the drift is taken out is what the hands changed.\n\n" +
			"Where the reference itself is a smooth ball or tube, a turn about its axis cannot be told; the measure " +
			"drift.firm then lies near 0 and the turn means little.",
		Sources: []string{
			"G. Turk and M. Levoy, Zippered polygon meshes from range images, 1994 (on partners at the rim; from memory)",
			"Y. Chen and G. Medioni, Object modelling by registration of multiple range images, 1992 (point to plane; from memory)",
			"J. W. Tukey's biweight, tuning constant 4.685 (textbook; from memory)",
			"Ritschl et al., Head Face Med 2018;14:11: capture of 33 newborn faces against plaster, RMS 0.72 ± 0.22 mm (a yardstick for live scans against castings)",
		},
		Inputs: []step.Input{
			{Name: "surface", Kind: step.Surface, Doc: "what was made"},
			{Name: "reference", Kind: step.Surface, Doc: "what it was made from"},
		},
		Values: []step.Value{
			{Name: "allow", Type: step.Length, Default: "0.5 mm", Min: "0.001 mm", Doc: "how far a place may have moved before it is shown", Origin: "common practice, no source"},
			{Name: "reach", Type: step.Length, Default: "10 mm", Min: "0.01 mm", Doc: "how far a partner is sought", Origin: "common practice, no source"},
			{Name: "spots", Type: step.Count, Default: "60", Min: "1", Max: "1000", Doc: "how many places are shown at most"},
		},
		Measures: []step.Measure{
			{Name: "rms", Type: step.Length, Resolution: 0.001, Doc: "root mean square distance as the two lie"},
			{Name: "mean", Type: step.Length, Resolution: 0.001, Doc: "mean signed distance; above 0 the surface lies outside"},
			{Name: "p50", Type: step.Length, Resolution: 0.001, Doc: "half the skin moved less than this"},
			{Name: "p95", Type: step.Length, Resolution: 0.001, Doc: "95 % of the skin moved less than this"},
			{Name: "p99", Type: step.Length, Resolution: 0.001, Doc: "99 % of the skin moved less than this"},
			{Name: "most", Type: step.Length, Resolution: 0.001, Doc: "the greatest distance within reach"},
			{Name: "fitted.rms", Type: step.Length, Resolution: 0.001, Doc: "root mean square distance after the drift is taken out"},
			{Name: "fitted.p95", Type: step.Length, Resolution: 0.001, Doc: "95 % of the skin moved less than this, drift taken out"},
			{Name: "changed.share", Type: step.Share, Resolution: 1e-5, Doc: "share of the skin that moved more than allowed, drift taken out"},
			{Name: "changed.places", Type: step.Count, Doc: "how many separate places did"},
			{Name: "alone.share", Type: step.Share, Resolution: 1e-5, Doc: "share of the surface with no partner: none within reach, or nobody saw the skin there"},
			{Name: "gone.share", Type: step.Share, Resolution: 1e-5, Doc: "share of the reference that the surface no longer covers within reach"},
			{Name: "drift.scale", Type: step.Share, Resolution: 1e-5, Doc: "how much larger the whole became: 0.02 is 2 % larger"},
			{Name: "drift.turn", Type: step.Angle, Resolution: 0.001, Doc: "how far the whole was turned"},
			{Name: "drift.shift", Type: step.Length, Resolution: 0.001, Doc: "how far its middle was moved"},
			{Name: "drift.firm", Type: step.Share, Resolution: 1e-6, Doc: "how well the shape fixes the drift: near 0 for a ball or a tube"},
		},
		Outputs: []step.Output{
			{Name: "map", Kind: step.Surface, Doc: "the surface with the distance at every vertex, drift taken out (property change, mm)"},
		},
		Memory: 14,
	}
}

// Run implements step.Kind.
func (Kind) Run(ctx context.Context, job *step.Job) (*step.Outcome, error) {
	surface, err := workpiece.Surface(ctx, job, "surface")
	if err != nil {
		return nil, err
	}
	reference, err := workpiece.Surface(ctx, job, "reference")
	if err != nil {
		return nil, err
	}
	c, err := newComparison(ctx, job, surface, reference)
	if err != nil {
		return nil, err
	}
	asLies, err := c.distances(ctx, geom.Fit{Pose: geom.NoMove, Scale: 1})
	if err != nil {
		return nil, err
	}
	drift, firm, err := c.drift(ctx)
	if err != nil {
		return nil, err
	}
	fitted, err := c.distances(ctx, drift)
	if err != nil {
		return nil, err
	}
	gone, err := c.gone(ctx)
	if err != nil {
		return nil, err
	}
	if err := workpiece.Write(job, "map", "change.ply", surface, meshio.Column{Name: "change", Values: fitted.column()}); err != nil {
		return nil, err
	}
	out := &step.Outcome{Measures: map[string]any{"gone.share": gone, "drift.firm": firm}}
	c.measure(out, asLies, fitted, drift)
	c.spots(out, fitted)
	if out.Notes = c.apart(out); out.Notes == nil {
		out.Notes = notes(out, firm)
	}
	return out, nil
}

// comparison holds the two surfaces. Everything is in the reference's frame.
type comparison struct {
	job     *step.Job
	surface *geom.Mesh
	tree    *geom.Tree // over the reference
	rim     *rim       // of the reference
	normals []geom.Point
	points  []geom.Vec // the surface's vertices
	skin    []float64  // mm² that each stands for
	allow   float64
	reach   float64
}

func newComparison(ctx context.Context, job *step.Job, surface, reference *geom.Mesh) (*comparison, error) {
	tree, err := geom.NewTree(ctx, reference, job.Workers)
	if err != nil {
		return nil, err
	}
	rim, err := newRim(ctx, reference, job.Workers)
	if err != nil {
		return nil, err
	}
	c := &comparison{
		job: job, surface: surface, tree: tree, rim: rim, normals: reference.VertexNormals(), skin: skinOf(surface),
		points: make([]geom.Vec, len(surface.Verts)),
		allow:  job.Values.Float("allow"), reach: job.Values.Float("reach"),
	}
	between := surface.Origin.Sub(reference.Origin)
	for i, p := range surface.Verts {
		c.points[i] = p.Vec().Add(between)
	}
	return c, nil
}

// skinOf returns a third of the area of the triangles about each vertex, mm².
func skinOf(m *geom.Mesh) []float64 {
	skin := make([]float64, len(m.Verts))
	for t, tri := range m.Tris {
		a, b, c := m.Corners(t)
		third := b.Sub(a).Cross(c.Sub(a)).Len() / 6
		for _, i := range tri {
			skin[i] += third
		}
	}
	return skin
}

// field holds the signed distance of every vertex; NaN where it has no partner.
type field []float64

func (f field) column() []float32 {
	col := make([]float32, len(f))
	for i, d := range f {
		col[i] = float32(d)
	}
	return col
}

// distances returns the signed distances of the surface after drift is undone.
func (c *comparison) distances(ctx context.Context, drift geom.Fit) (field, error) {
	undone := make([]geom.Vec, len(c.points))
	for i, p := range c.points {
		undone[i] = undo(drift, p)
	}
	hits, err := c.tree.ClosestAll(ctx, undone, c.reach, c.job.Workers)
	if err != nil {
		return nil, err
	}
	f := make(field, len(hits))
	for i, h := range hits {
		f[i] = math.NaN()
		if !c.partner(h) {
			continue
		}
		off, out := math.Sqrt(h.Dist2), undone[i].Sub(h.Point).Dot(c.normalAt(h))
		if beside := math.Abs(out) < 0.7*off; beside && c.rim.holds(h) { // beyond the rim, not above it
			continue
		}
		f[i] = math.Copysign(off*drift.Scale, out)
	}
	return f, nil
}

// partner reports whether h is a place of the reference that somebody saw.
func (c *comparison) partner(h geom.Hit) bool {
	if h.Tri < 0 {
		return false
	}
	ref := c.tree.Mesh()
	if len(ref.Seen) == 0 {
		return true
	}
	for _, v := range ref.Tris[h.Tri] {
		if ref.Seen[v] == 0 {
			return false
		}
	}
	return true
}

// undo returns where p was before the drift.
func undo(f geom.Fit, p geom.Vec) geom.Vec {
	return f.Rot.Transposed().Apply(p.Sub(f.Move)).Mul(1 / f.Scale)
}

// normalAt returns the direction of the reference's skin at h, blended from
// the corners so that edges and corners have one too.
func (c *comparison) normalAt(h geom.Hit) geom.Vec {
	t := c.tree.Mesh().Tris[h.Tri]
	n := c.normals[t[0]].Vec().Mul(1 - h.V - h.W)
	return n.Add(c.normals[t[1]].Vec().Mul(h.V)).Add(c.normals[t[2]].Vec().Mul(h.W)).Unit()
}

// gone returns the share of the reference with nothing of the surface in reach.
func (c *comparison) gone(ctx context.Context) (float64, error) {
	tree, err := geom.NewTree(ctx, c.surface, c.job.Workers)
	if err != nil {
		return 0, err
	}
	ref := c.tree.Mesh()
	between := ref.Origin.Sub(c.surface.Origin)
	pts := make([]geom.Vec, len(ref.Verts))
	for i, p := range ref.Verts {
		pts[i] = p.Vec().Add(between)
	}
	hits, err := tree.ClosestAll(ctx, pts, c.reach, c.job.Workers)
	if err != nil {
		return 0, err
	}
	var all, gone geom.Sum
	for i, s := range skinOf(ref) {
		if len(ref.Seen) > 0 && ref.Seen[i] == 0 {
			continue
		}
		all.Add(s)
		if hits[i].Tri < 0 {
			gone.Add(s)
		}
	}
	return share(gone, all), nil
}

func share(part, whole geom.Sum) float64 {
	if whole.Total() == 0 {
		return math.NaN()
	}
	return part.Total() / whole.Total()
}

// measure fills in what the fields and the drift say.
func (c *comparison) measure(out *step.Outcome, asLies, fitted field, drift geom.Fit) {
	m := out.Measures
	a, b := c.summary(asLies), c.summary(fitted)
	m["rms"], m["mean"], m["most"] = a.rms, a.mean, a.at(1)
	m["p50"], m["p95"], m["p99"] = a.at(0.50), a.at(0.95), a.at(0.99)
	m["fitted.rms"], m["fitted.p95"] = b.rms, b.at(0.95)
	m["alone.share"] = a.alone
	var over, all geom.Sum
	for i, d := range fitted {
		all.Add(c.skin[i])
		if math.Abs(d) > c.allow {
			over.Add(c.skin[i])
		}
	}
	m["changed.share"] = share(over, all)
	m["drift.scale"] = drift.Scale - 1
	m["drift.turn"] = drift.Turn() * 180 / math.Pi
	middle := c.tree.Bounds().Centre()
	m["drift.shift"] = drift.Apply(middle).Sub(middle).Len()
}

// summary is the spread of a field over the skin.
type summary struct {
	rms, mean, alone float64
	sorted           []weighed // by size of distance
	total            float64   // skin with a partner, mm²
}

type weighed struct{ d, skin float64 }

func (c *comparison) summary(f field) summary {
	var s summary
	var square, sum, with, all geom.Sum
	for i, d := range f {
		k := c.skin[i]
		all.Add(k)
		if math.IsNaN(d) {
			continue
		}
		with.Add(k)
		sum.Add(float64(k * d))
		square.Add(float64(k * float64(d*d)))
		s.sorted = append(s.sorted, weighed{math.Abs(d), k})
	}
	slices.SortStableFunc(s.sorted, func(a, b weighed) int {
		switch {
		case a.d < b.d:
			return -1
		case a.d > b.d:
			return 1
		}
		return 0
	})
	s.total = with.Total()
	s.rms, s.mean, s.alone = math.NaN(), math.NaN(), math.NaN()
	if s.total > 0 {
		s.rms, s.mean = math.Sqrt(square.Total()/s.total), sum.Total()/s.total
	}
	if all.Total() > 0 {
		s.alone = 1 - s.total/all.Total()
	}
	return s
}

// at returns the distance that the given share of the skin does not pass.
func (s summary) at(part float64) float64 {
	var sum geom.Sum
	for _, w := range s.sorted {
		sum.Add(w.skin)
		if sum.Total() >= float64(part*s.total) {
			return w.d
		}
	}
	if n := len(s.sorted); n > 0 {
		return s.sorted[n-1].d
	}
	return math.NaN()
}

// apart says what may have happened if the surface covers less than half of what
// it was made from. What became of the whole is unknown then: partners are
// chance, and a drift of nought by them must not pass for none.
func (c *comparison) apart(out *step.Outcome) []string {
	m := out.Measures
	gone := m["gone.share"].(float64)
	if !(gone > 0.5) {
		return nil
	}
	for _, name := range []string{"drift.scale", "drift.turn", "drift.shift"} {
		m[name] = math.NaN()
	}
	ref := c.tree.Mesh()
	away := c.surface.Bounds().Centre().Add(c.surface.Origin).Sub(ref.Bounds().Centre().Add(ref.Origin)).Len()
	times := c.surface.Bounds().Size().Len() / ref.Bounds().Size().Len()
	what := "was it moved or turned?"
	if times > 2 || times < 0.5 {
		what = "is it in another unit?"
	}
	return []string{fmt.Sprintf("%.0f %% of what it was made from lie farther than %.3g mm from it: its middle lies %.3g mm off, and it is %.3g times as long: %s",
		100*gone, c.reach, away, times, what)}
}

// loose is the share below which a direction of the drift counts as not fixed: a
// lumpy head lies near 0.003, a ball of a hundred thousand triangles below 1e-5.
const loose = 1e-4

// notes says in words what the numbers mean.
func notes(out *step.Outcome, firm float64) []string {
	m := out.Measures
	var n []string
	if s := m["drift.scale"].(float64); math.Abs(s) > 0.002 {
		word := "larger"
		if s < 0 {
			word = "smaller"
		}
		n = append(n, fmt.Sprintf("The whole is %.2f %% %s than what it was made from: was it scaled by accident?", 100*math.Abs(s), word))
	}
	if turn, shift := m["drift.turn"].(float64), m["drift.shift"].(float64); turn > 0.2 || shift > 0.2 {
		n = append(n, fmt.Sprintf("The whole was turned by %.2f degrees and moved by %.2f mm.", turn, shift))
	}
	if firm < loose {
		n = append(n, "The shape does not fix every direction (a ball, a tube): the drift along it cannot be told.")
	}
	if gone := m["gone.share"].(float64); gone > 0.001 {
		n = append(n, fmt.Sprintf("%.1f %% of the reference is no longer covered.", 100*gone))
	}
	return n
}

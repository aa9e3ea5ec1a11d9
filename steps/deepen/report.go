package deepen

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"
	"strings"

	"layette/engine/step"
	"layette/steps/internal/form"
	"layette/steps/internal/geom"
	"layette/steps/internal/meshio"
	"layette/steps/internal/region"
	"layette/steps/internal/workpiece"
)

// line is a piece of a line with what becomes of it; depths in mm below the
// skin beside it.
type line struct {
	form.Line              // as wanted
	master, without, after float64
	region                 string
	limit                  limit
}

// misses returns how much shallower than wanted it will be.
func (l line) misses() float64 { return l.Depth - l.after }

// asked reports whether it is left shallower because so it was asked for.
func (l line) asked() bool { return l.limit == byStrength && l.misses() > 0 }

// says tells what becomes of it.
func (l line) says() string {
	return fmt.Sprintf("wanted %.2f mm, will be %.2f mm (%.2f mm without deepening)", l.Depth, l.after, l.without)
}

// find fills in the lines of the wanted surface.
func (w *work) find(ctx context.Context) error {
	found, err := w.skin.Lines(ctx, w.relief.Form(w.wanted), w.depth, w.skin.Beside(w.relief.Cutoff), w.values.Float("least"), 3*w.relief.Cutoff)
	if err != nil {
		return err
	}
	for _, f := range found {
		up := w.lost.Normal[f.At].Dot(w.relief.Normal[f.At])
		l := line{Line: f, region: region.Name(w.regions, w.at(f.At)), limit: w.limit[f.At]}
		l.master = f.Depth - float64(w.moved[f.At]*up)
		l.without = f.Depth - float64(w.before[f.At]*up)
		l.after = f.Depth - float64(w.error[f.At]*up)
		w.lines = append(w.lines, l)
	}
	return nil
}

// at returns where a vertex is in the coordinates of the file.
func (w *work) at(v int32) geom.Vec { return w.wanted[v].Add(w.mesh.Origin) }

// spots shows the lines that miss first, then those of named regions, then the
// others; the deepest of each first.
func (w *work) spots() []step.Spot {
	lines := slices.Clone(w.lines)
	slices.SortStableFunc(lines, func(a, b line) int { return cmp.Compare(w.rank(a), w.rank(b)) })
	var spots []step.Spot
	for i, l := range lines[:min(len(lines), w.values.Int("spots"))] {
		spots = append(spots, w.spot(i+1, l, w.rank(l) == 0))
	}
	return spots
}

// rank says how much people want to see of a line; 0 is the first.
func (w *work) rank(l line) int {
	switch {
	case math.Abs(l.misses()) > w.values.Float("allow") && !l.asked():
		return 0
	case l.region != "":
		return 1
	}
	return 2
}

func (w *work) spot(number int, l line, fault bool) step.Spot {
	at, where := w.at(l.At), "this line"
	if l.region != "" {
		where = l.region + " line"
	}
	says := fmt.Sprintf("%s: %s; the master has %.2f mm.", where, l.says(), l.master)
	what := "line"
	if fault {
		what = "line that misses"
	}
	says += l.because(w.values.Float("allow"))
	return step.Spot{
		Number: number, What: what, Surface: "surface", At: [3]float64{round(at.X), round(at.Y), round(at.Z)},
		Radius: round(max(l.Width, 0.5)), Value: round(l.after), Unit: "mm", Says: says, Fault: fault,
	}
}

// because says why a line will miss what is wanted by more than is allowed.
func (l line) because(allow float64) string {
	switch {
	case math.Abs(l.misses()) <= allow:
		return ""
	case l.misses() < 0 && l.Depth-l.without < -0.9*allow:
		return " It would be that deep without deepening: moulding rounds the skin beside it."
	case l.misses() > 0 && l.limit != free:
		return " Held back by " + limitNames[l.limit] + "."
	}
	return ""
}

func round(x float64) float64 { return math.Round(x*1000) / 1000 }

// rows writes every piece as a row of a table.
func (w *work) rows() string {
	var b strings.Builder
	b.WriteString("number,region,x_mm,y_mm,z_mm,width_mm,wanted_mm,master_mm,without_mm,predicted_mm,misses_mm,held_by\n")
	for i, l := range w.lines {
		at := w.at(l.At)
		fmt.Fprintf(&b, "%d,%q,%.3f,%.3f,%.3f,%.3f,%.3f,%.3f,%.3f,%.3f,%.3f,%s\n", i+1, l.region, at.X, at.Y, at.Z, l.Width, l.Depth, l.master, l.without, l.after, l.misses(), limitNames[l.limit])
	}
	return b.String()
}

// measures sums up, weighted by the skin each vertex stands for; errors leave
// out what lies beside a rim or an opening.
func (w *work) measures() map[string]any {
	var all, trusted, unheld, moved, mean, before, after, loose geom.Sum
	var by [limits]geom.Sum
	in, out := 0.0, 0.0
	for i, a := range w.skin.Areas(w.wanted) {
		d := w.moved[i]
		in, out = max(in, -d), max(out, d)
		all.Add(a)
		by[w.limit[i]].Add(a)
		moved.Add(float64(a * float64(d*d)))
		mean.Add(float64(a * d))
		if w.beside[i] {
			continue
		}
		trusted.Add(a)
		square := float64(a * float64(w.error[i]*w.error[i]))
		before.Add(float64(a * float64(w.before[i]*w.before[i])))
		after.Add(square)
		if w.limit[i] == free {
			unheld.Add(a)
			loose.Add(square)
		}
	}
	rms := func(s, area geom.Sum) float64 { return math.Sqrt(s.Total() / area.Total()) }
	share := func(l limit) float64 { return by[l].Total() / all.Total() }
	short, over, asked := w.astray()
	return map[string]any{
		"detail": w.detail, "moved.rms": rms(moved, all), "moved.mean": mean.Total() / all.Total(), "moved.in": in, "moved.out": out,
		"error.before": rms(before, trusted), "error.after": rms(after, trusted), "error.free": rms(loose, unheld),
		"limited.share": 1 - share(free) - share(byNoise), "limited.most": share(byMost), "limited.gap": share(byGap), "limited.steep": share(bySteep),
		"limited.overhang": share(byOverhang), "limited.fold": share(byFold),
		"quiet.share": share(byNoise), "lines": int64(len(w.lines)), "lines.short": short, "lines.over": over, "lines.asked": asked,
	}
}

// astray counts the pieces of lines that will be shallower than wanted by more
// than is allowed, those that will be deeper, and those that are left shallower as
// was asked for.
func (w *work) astray() (short, over, asked int64) {
	allow := w.values.Float("allow")
	for _, l := range w.lines {
		switch {
		case l.misses() > allow && l.asked():
			asked++
		case l.misses() > allow:
			short++
		case l.misses() < -allow:
			over++
		}
	}
	return short, over, asked
}

// notes says what people should know beside the spots.
func (w *work) notes() []string {
	var notes []string
	if edge := w.edge; w.detail < 3*edge {
		notes = append(notes, fmt.Sprintf("the triangles (%.2f mm) are too coarse to deepen the finest lines for a chain that holds %.2f mm: use edges of %.2f mm or less", edge, w.detail, w.detail/4))
	}
	if w.quiet() {
		notes = append(notes, "there is next to nothing to deepen: without it the finished part would differ from what is wanted by no more than the noise of the scan")
	}
	if short, over, asked := w.astray(); short+over+asked > 0 {
		left := ""
		if asked > 0 {
			left = fmt.Sprintf(", %d are left shallower as was asked for", asked)
		}
		notes = append(notes, fmt.Sprintf("of %d pieces of lines %d will be shallower than wanted and %d deeper%s; a cleft between fingers may count as a line", len(w.lines), short, over, left))
	}
	notes = append(notes, w.heldBack()...)
	for _, r := range w.regions {
		notes = append(notes, w.left(r))
	}
	return notes
}

// heldBack says of every limit that held, but for noise and what was asked for,
// how much of the skin it held and where that misses what is wanted by most.
func (w *work) heldBack() []string {
	var area [limits]geom.Sum
	var all geom.Sum
	worst := [limits]int32{}
	for i, a := range w.skin.Areas(w.wanted) {
		all.Add(a)
		l := w.limit[i]
		if n := area[l].Total(); n == 0 || math.Abs(w.error[i]) > math.Abs(w.error[worst[l]]) {
			worst[l] = int32(i)
		}
		area[l].Add(a)
	}
	var notes []string
	for _, l := range []limit{byMost, byGap, bySteep, byOverhang, byFold, byGain} {
		if area[l].Total() == 0 {
			continue
		}
		at := w.at(worst[l])
		notes = append(notes, fmt.Sprintf("held back by %s: %s of the skin; farthest from what is wanted at (%.1f, %.1f, %.1f), by %.2f mm", limitNames[l], percent(area[l].Total()/all.Total()), at.X, at.Y, at.Z, math.Abs(w.error[worst[l]])))
	}
	return notes
}

// percent writes a share in as many digits as it has sense.
func percent(share float64) string {
	if share < 0.0001 {
		return "less than 0.01 %"
	}
	return fmt.Sprintf("%.2g %%", 100*share)
}

// quiet reports whether all but a thousandth of the skin holds only noise.
func (w *work) quiet() bool {
	n := 0
	for _, l := range w.limit {
		if l == byNoise {
			n++
		}
	}
	return 1000*(len(w.limit)-n) <= len(w.limit)
}

// left says what becomes of a region's deepest line, and what error is left in
// the region, which is what a sculptor asks.
func (w *work) left(r region.Ball) string {
	var area, squares geom.Sum
	most := 0.0
	for i, a := range w.skin.Areas(w.wanted) {
		if w.beside[i] || w.at(int32(i)).Sub(r.At).Len2() > float64(r.Radius*r.Radius) {
			continue
		}
		area.Add(a)
		squares.Add(float64(a * float64(w.error[i]*w.error[i])))
		most = max(most, math.Abs(w.error[i]))
	}
	if area.Total() == 0 {
		return r.Name + ": no skin of this part lies there"
	}
	deepest := ""
	if i := slices.IndexFunc(w.lines, func(l line) bool { return l.region == r.Name }); i >= 0 {
		deepest = fmt.Sprintf("%s line: %s. ", r.Name, w.lines[i].says())
	}
	return deepest + fmt.Sprintf("%s: the forecast differs from what is wanted by %.3f mm (root mean square), %.3f mm at most", r.Name, math.Sqrt(squares.Total()/area.Total()), most)
}

func (w *work) write(job *step.Job, base string) error {
	if err := workpiece.Write(job, "master", base+"-deepened.ply", w.skin.CarryMesh(w.mesh, w.master())); err != nil {
		return err
	}
	if err := workpiece.Write(job, "forecast", base+"-forecast.ply", w.skin.CarryMesh(w.mesh, w.after)); err != nil {
		return err
	}
	held := make([]float64, len(w.limit))
	for i, l := range w.limit {
		held[i] = float64(l)
	}
	plain := &geom.Mesh{Verts: w.mesh.Verts, Tris: w.mesh.Tris, Origin: w.mesh.Origin}
	columns := []meshio.Column{{Name: "moved", Values: w.skin.Carry(w.moved)}, {Name: "error", Values: w.skin.Carry(w.error)}, {Name: "limit", Values: w.skin.Carry(held)}}
	if err := workpiece.Write(job, "map", base+"-deepening.ply", plain, columns...); err != nil {
		return err
	}
	return workpiece.WriteText(job, "rows", base+"-deepen.csv", w.rows())
}

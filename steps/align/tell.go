package align

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strings"

	"layette/engine/step"
	"layette/steps/internal/geom"
	"layette/steps/internal/workpiece"
)

// tell writes the outputs and says what was found.
func (r *result) tell(ctx context.Context) (*step.Outcome, error) {
	out := &step.Outcome{Measures: map[string]any{}}
	r.measure(out.Measures)
	if err := r.writePoses(); err != nil {
		return nil, err
	}
	if err := r.writePairs(); err != nil {
		return nil, err
	}
	if err := r.writeTable(); err != nil {
		return nil, err
	}
	if ctx.Err() != nil {
		return nil, context.Cause(ctx)
	}
	if len(r.g.order) > 0 {
		m := r.placed()
		if err := workpiece.Write(r.s.job, "placed", "placed.ply", m); err != nil {
			return nil, err
		}
		if err := r.picture(ctx, m); err != nil {
			return nil, err
		}
	}
	out.Spots = r.spots()
	out.Notes = append(r.sentences(), r.s.notes...)
	return out, nil
}

func (r *result) measure(m map[string]any) {
	scans, placed, copies := 0, 0, 0
	overlap, agree, firm := math.NaN(), math.NaN(), math.NaN()
	for i, c := range r.s.scans {
		if c.fixed {
			continue
		}
		scans++
		if c.copy {
			copies++
		}
		if !r.g.in[i] {
			continue
		}
		placed++
		p := r.places[i]
		overlap, agree, firm = least(overlap, p.overlap), least(agree, p.meeting.Agree()), least(firm, p.firm)
	}
	groups := 0
	for _, g := range r.groups {
		if len(g.order) > 1 {
			groups++
		}
	}
	m["scans"], m["placed"], m["unplaced"], m["copies"] = int64(scans), int64(placed), int64(scans-placed-copies), int64(copies)
	m["pairs"], m["groups"] = int64(len(r.pairs)), int64(groups)
	m["residual.rms"], m["overlap.least"], m["agree.least"], m["firm.least"] = r.rms(), overlap, agree, firm
	m["loop.worst"], m["moved.places"] = r.loop, int64(len(r.moved))
}

// least is min for a running least that begins as not a number.
func least(a, b float64) float64 {
	if math.IsNaN(a) || b < a {
		return b
	}
	return a
}

// byName returns the scans' numbers in order of file name.
func (r *result) byName() []int {
	order := make([]int, len(r.s.scans))
	for i := range order {
		order[i] = i
	}
	slices.SortFunc(order, func(a, b int) int { return strings.Compare(r.s.scans[a].file.Name, r.s.scans[b].file.Name) })
	return order
}

// poseRow is one scan in poses.json.
type poseRow struct {
	Name       string      `json:"name"`
	File       string      `json:"file"`
	SHA256     string      `json:"sha256"`
	Placed     bool        `json:"placed"`
	Fixed      bool        `json:"fixed,omitempty"`
	Rotation   *[9]float64 `json:"rotation,omitempty"`
	Move       *[3]float64 `json:"move,omitempty"`
	RMS        float64     `json:"rms,omitempty"`     // mm
	Overlap    float64     `json:"overlap,omitempty"` // share
	Agree      float64     `json:"agree,omitempty"`   // share
	Firm       float64     `json:"firm,omitempty"`
	Held       float64     `json:"held,omitempty"` // mm
	Loosest    string      `json:"loosest,omitempty"`
	Neighbours []string    `json:"neighbours,omitempty"`
	Why        string      `json:"why,omitempty"`
}

// posesFile is poses.json.
type posesFile struct {
	Format  string    `json:"format"`
	Unit    string    `json:"unit"`
	Frame   string    `json:"frame"`
	Spacing float64   `json:"spacing"`
	Scans   []poseRow `json:"scans"`
}

func (r *result) writePoses() error {
	f := posesFile{Format: "poses 1", Unit: "mm", Spacing: round(r.s.spacing, 1e-6)}
	for _, i := range r.byName() {
		c := r.s.scans[i]
		row := poseRow{Name: c.name, File: c.file.Name, SHA256: c.file.SHA256, Placed: r.g.in[i], Fixed: c.fixed, Why: r.why[i]}
		if r.g.in[i] {
			r.fill(&row, i)
			if i == r.g.frame {
				f.Frame = c.name
			}
		}
		f.Scans = append(f.Scans, row)
	}
	text, err := json.MarshalIndent(f, "", "  ")
	if err != nil {
		return err
	}
	return workpiece.WriteText(r.s.job, "poses", "poses.json", string(text)+"\n")
}

// fill says where scan i lies and how well.
func (r *result) fill(row *poseRow, i int) {
	at, p := r.g.at[i], r.places[i]
	var rot [9]float64
	for k := range 9 {
		rot[k] = round(at.Rot[k/3][k%3], 1e-9)
	}
	row.Rotation = &rot
	row.Move = &[3]float64{round(at.Move.X, 1e-6), round(at.Move.Y, 1e-6), round(at.Move.Z, 1e-6)}
	if r.s.scans[i].fixed {
		return
	}
	row.RMS, row.Overlap, row.Agree = round(p.meeting.RMS(), 0.001), round(p.overlap, 0.001), round(p.meeting.Agree(), 0.001)
	row.Firm = round(p.firm, 1e-5)
	row.Held, row.Loosest = round(r.held(i), 0.001), r.loosest(i)
	for _, j := range r.pairs {
		if j.a == i {
			row.Neighbours = append(row.Neighbours, r.s.scans[j.b].name)
		}
		if j.b == i {
			row.Neighbours = append(row.Neighbours, r.s.scans[j.a].name)
		}
	}
	slices.Sort(row.Neighbours)
}

// round brings x to a multiple of step, so that the last bits of a long sum
// never show.
func round(x, step float64) float64 {
	n := math.Round(1 / step)
	if n >= 1 {
		return math.Round(x*n)/n + 0
	}
	return math.Round(x/step) * step
}

// held is about how far scan i may still be off in the direction its
// neighbours hold least, mm: the spread of the distances over the root of what
// the direction weighs, as if a hundred places spoke independently.
func (r *result) held(i int) float64 {
	p := r.places[i]
	if len(p.meeting.Off) == 0 { // pinned, and touching nothing
		return 0
	}
	return p.meeting.Sigma() / math.Sqrt(max(p.firm, 1e-9)*min(100, max(1, float64(p.meeting.On))))
}

// loosest says in words which way scan i is held least.
func (r *result) loosest(i int) string {
	c := r.s.scans[i]
	axis, what := c.shift, "slides"
	if c.turn.Len() > c.shift.Len() {
		axis, what = c.turn, "turns about an axis"
	}
	along := r.long()
	way := "across the part"
	if cos := math.Abs(axis.Unit().Dot(along)); cos > 0.85 {
		way = "along the part"
	} else if cos > 0.5 {
		way = "slantwise to the part"
	}
	return what + " " + way
}

// long returns the direction in which the placed scans reach farthest.
func (r *result) long() geom.Vec {
	var mid geom.Vec
	for _, i := range r.g.order {
		mid = mid.Add(r.g.at[i].Apply(r.s.scans[i].middle))
	}
	mid = mid.Mul(1 / float64(max(1, len(r.g.order))))
	var s geom.Mat
	for _, i := range r.g.order {
		d := r.g.at[i].Apply(r.s.scans[i].middle).Sub(mid)
		v := [3]float64{d.X, d.Y, d.Z}
		for a := range 3 {
			for b := range 3 {
				s[a][b] += float64(v[a] * v[b])
			}
		}
	}
	_, axes := geom.Eigen3(s)
	return axes[2]
}

func (r *result) writePairs() error {
	var b strings.Builder
	b.WriteString("scan,other,overlap,agree,residual_mm,spread_mm,clash\n")
	name := func(i int) string { return r.s.scans[i].name }
	rows := make([]string, 0, len(r.pairs))
	for _, p := range r.pairs {
		x, y := name(p.a), name(p.b)
		if y < x {
			x, y = y, x
		}
		m := &p.meeting
		rows = append(rows, fmt.Sprintf("%s,%s,%.3f,%.3f,%.3f,%.3f,%.3f\n", cell(x), cell(y), m.Overlap(), m.Agree(), m.RMS(), m.Sigma(), m.Clashing()))
	}
	slices.Sort(rows)
	b.WriteString(strings.Join(rows, ""))
	return workpiece.WriteText(r.s.job, "pairs", "pairs.csv", b.String())
}

// cell quotes a name for CSV (RFC 4180) where it must be.
func cell(s string) string {
	if strings.ContainsAny(s, ",\"\r\n") {
		return `"` + strings.ReplaceAll(s, `"`, `""`) + `"`
	}
	return s
}

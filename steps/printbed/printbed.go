// Package printbed is the step that asks whether each piece fits the printer:
// which way up it stands by itself, whether it fits the bed and the height,
// what it weighs, what is thinner or nearer together than the printer can make,
// and where to cut what is too large. It writes what is to be printed as 3MF,
// with units and names, and as STL.
package printbed

import (
	"context"
	"encoding/csv"
	"fmt"

	"math"
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
	return step.Handbook{
		Name:    "print-bed",
		Version: 2,
		Summary: "Asks whether each piece fits the printer, which way up, and what it cannot make.",
		Method: "A piece stands by itself on a facet of its convex hull if its centre of mass lies over that facet. Among the " +
			"ways it stands, those are kept that fit the bed, turned about the upright in half degrees, and the height; the one " +
			"with the least skin that hangs over by more than `overhang` is taken, of equals the lower one. The first layer's " +
			"contact is the area of the section one layer above the bed, by the surface's own divergence, so it needs a closed " +
			"surface that faces outward.\n\n" +
			"A piece that fits no way is to be cut: the advice names the least section across its longest extent, in the middle " +
			"third and with both halves no longer than the bed if it can be, as the step cut takes it; stand the halves on the bed again. The thinnest section and the narrowest gap are those of touching balls (see the step gaps).",
		Sources: []string{
			"3MF Core Specification, 3MF Consortium (units, names, orientation of faces)",
			"The area of a section as the flux of the upright through the closed surface below it (divergence theorem; textbook)",
		},
		Cautions: []string{
			"Uncured resin burns skin and eyes and its vapour is harmful: gloves, glasses and fresh air, by its data sheet and local rules.",
			"Printed pieces are for looking at and for moulding, never for a child to hold.",
		},
		Inputs: []step.Input{{Name: "pieces", Kind: step.Surface, Many: true, Named: true, Doc: "what is to be printed, closed surfaces"}},
		Values: []step.Value{
			{Name: "bed", Type: step.Tree, Doc: "the printer's room: { x = \"143 mm\", y = \"89 mm\", z = \"175 mm\" }; ask your printer's maker"},
			{Name: "edge", Type: step.Length, Default: "2 mm", Min: "0 mm", Doc: "kept free along the bed's border", Origin: "common practice, no source"},
			{Name: "layer", Type: step.Length, Default: "0.05 mm", Min: "0.001 mm", Doc: "height of a layer", Origin: "common practice, no source"},
			{Name: "overhang", Type: step.Angle, Default: "45 deg", Min: "0 deg", Max: "90 deg", Doc: "steepest overhang from the upright that needs no support", Origin: "common practice, no source"},
			{Name: "density", Type: step.Density, Default: "1.15 g/cm3", Min: "0.01 g/cm3", Doc: "of the cured material", Origin: "common practice, no source; see the material's data sheet"},
		},
		Measures: []step.Measure{
			{Name: "pieces", Type: step.Count, Doc: "how many pieces"},
			{Name: "fitting", Type: step.Count, Doc: "how many fit the printer"},
			{Name: "too-large", Type: step.String, Many: true, Doc: "names of those that do not"},
			{Name: "open", Type: step.Count, Doc: "pieces that are not closed, so that volume and contact are not to be relied on"},
			{Name: "volume", Type: step.Number, Unit: "mm³", Resolution: 0.1, Doc: "of all pieces, solid"},
			{Name: "mass", Type: step.Mass, Resolution: 0.01, Doc: "of all pieces, solid"},
			{Name: "tallest", Type: step.Length, Resolution: 0.01, Doc: "height of the tallest as it stands"},
			{Name: "contact.least", Type: step.Number, Unit: "mm²", Resolution: 0.1, Doc: "least contact of a first layer"},
			{Name: "overhang.most", Type: step.Number, Unit: "mm²", Resolution: 0.1, Doc: "most skin of a piece that hangs over"},
			{Name: "thinnest", Type: step.Length, Resolution: 0.001, Doc: "thinnest section of any piece, up to 4 mm"},
			{Name: "narrowest", Type: step.Length, Resolution: 0.001, Doc: "narrowest gap of any piece, up to 4 mm"},
		},
		Outputs: []step.Output{
			{Name: "print", Kind: step.Any, Doc: "all pieces as they are to stand, one beside the other (3MF)"},
			{Name: "placed", Kind: step.Surface, Many: true, Doc: "each piece as it is to stand (STL, mm)"},
			{Name: "table", Kind: step.Rows, Doc: "each piece: size as it stands, volume, mass, contact, overhang (CSV)"},
		},
		Memory: 12,
	}
}

// Check implements step.Checker.
func (Kind) Check(values step.Values) []step.Complaint {
	t, given := values["bed"].(step.Table)
	if !given {
		return nil
	}
	var wrong []step.Complaint
	for _, side := range []string{"x", "y", "z"} {
		if v, ok := t.Get(side); !ok {
			wrong = append(wrong, step.Complaint{Value: "bed", Says: "the bed has no " + side, Hint: `write { x = "143 mm", y = "89 mm", z = "175 mm" }`})
		} else if length, ok := v.(float64); !ok || !(length > 0) {
			wrong = append(wrong, step.Complaint{Value: "bed", Says: side + " is no length above zero"})
		}
	}
	for i, name := range t.Names {
		if name != "x" && name != "y" && name != "z" {
			wrong = append(wrong, step.Complaint{Value: "bed", Says: fmt.Sprintf("a bed has no %q", name), Hint: "its sides are x, y and z"})
		} else if t.Kinds[i] != step.Length {
			wrong = append(wrong, step.Complaint{Value: "bed", Says: name + " needs a unit", Hint: `write it as "143 mm"`})
		}
	}
	return wrong
}

// piece is one piece as it is to stand.
type piece struct {
	name   string
	file   step.File
	mesh   *geom.Mesh // as it stands, its lowest point at z = 0 in the bed's middle
	stands stance
	closed bool
	volume float64 // mm³
	advice *section
	found  limits
}

// Run implements step.Kind.
func (Kind) Run(ctx context.Context, job *step.Job) (*step.Outcome, error) {
	p := newPrinter(job.Values)
	var pieces []piece
	job.Progress.Start("pieces stood on the bed", len(job.Inputs["pieces"]))
	for _, f := range job.Inputs["pieces"] {
		one, err := p.stand(ctx, job, f)
		if err != nil {
			return nil, err
		}
		if err := workpiece.WriteSTL(job, "placed", one.name+".stl", one.mesh, one.name); err != nil {
			return nil, err
		}
		pieces = append(pieces, one)
		job.Progress.Add(1)
	}
	if len(pieces) == 0 {
		return nil, fmt.Errorf("there are no pieces to print")
	}
	if err := write(job, pieces); err != nil {
		return nil, err
	}
	return p.outcome(pieces), nil
}

// stand reads one piece and finds how it stands best.
func (p *printer) stand(ctx context.Context, job *step.Job, f step.File) (piece, error) {
	in, err := workpiece.Open(ctx, job, f)
	if err != nil {
		return piece{}, err
	}
	one := piece{name: in.Base(), file: f}
	if !strings.HasPrefix(one.name, f.Part) {
		one.name = f.Part + "-" + one.name
	}
	edges, err := in.Mesh.Edges(ctx, job.Workers)
	if err != nil {
		return piece{}, err
	}
	one.closed = in.Mesh.Closed(edges)
	one.volume = in.Mesh.Volume()
	stances, hull, err := p.stances(in.Mesh)
	if err != nil {
		return piece{}, fmt.Errorf("%s: %w", f.Name, err)
	}
	one.stands = p.best(in.Mesh, hull, stances)
	one.mesh = one.stands.placed(in.Mesh)
	if !one.stands.fits {
		one.advice = across(in.Mesh, max(p.room.X, p.room.Y, p.room.Z))
	}
	one.found, err = limitsOf(ctx, job, in.Mesh)
	return one, err
}

// write gives the 3MF with all pieces in a row, and the table.
func write(job *step.Job, pieces []piece) error {
	var row []meshio.Named
	at := 0.0
	for _, one := range pieces {
		b := one.mesh.Bounds()
		row = append(row, meshio.Named{Name: one.name, Mesh: one.mesh.Moved(geom.Vec{X: at - b.Min.X})})
		at += b.Size().X + 5
	}
	w, err := job.Create("print", "print.3mf")
	if err != nil {
		return err
	}
	if err := meshio.WriteThreeMF(w, row); err != nil {
		w.Close()
		return err
	}
	if err := w.Close(); err != nil {
		return err
	}
	return workpiece.WriteText(job, "table", "pieces.csv", table(job.Values, pieces))
}

func table(values step.Values, pieces []piece) string {
	var b strings.Builder
	w := csv.NewWriter(&b)
	w.Write([]string{"piece", "fits", "x mm", "y mm", "z mm", "volume mm³", "mass g", "contact mm²", "overhang mm²", "thinnest mm", "narrowest mm"})
	for _, one := range pieces {
		s := one.mesh.Bounds().Size()
		w.Write([]string{one.name, fmt.Sprint(one.stands.fits), two(s.X), two(s.Y), two(s.Z), two(one.volume),
			two(one.volume * values.Float("density") / 1000), two(one.stands.contact), two(one.stands.over), three(one.found.thin), three(one.found.gap)})
	}
	w.Flush()
	return b.String()
}

func two(x float64) string { return fmt.Sprintf("%.2f", x) }

func three(x float64) string {
	if math.IsInf(x, 1) {
		return "over 4"
	}
	return fmt.Sprintf("%.3f", x)
}

func (p *printer) outcome(pieces []piece) *step.Outcome {
	m := map[string]any{"pieces": int64(len(pieces))}
	out := &step.Outcome{Measures: m}
	large := []string{}
	var volume geom.Sum
	var open int64
	tallest, contact, over, thin, gap := 0.0, math.Inf(1), 0.0, math.Inf(1), math.Inf(1)
	for _, one := range pieces {
		volume.Add(one.volume)
		tallest = max(tallest, one.mesh.Bounds().Size().Z)
		contact, over = min(contact, one.stands.contact), max(over, one.stands.over)
		thin, gap = min(thin, one.found.thin), min(gap, one.found.gap)
		if !one.closed {
			open++
			out.Notes = append(out.Notes, one.name+" is not closed: its volume and first layer are not to be relied on.")
		}
		if !one.stands.fits {
			large = append(large, one.name)
		}
		out.Spots = append(out.Spots, p.spots(one)...)
	}
	for i := range out.Spots {
		out.Spots[i].Number = i + 1
	}
	m["fitting"], m["too-large"], m["open"] = int64(len(pieces)-len(large)), large, open
	m["volume"], m["mass"] = volume.Total(), volume.Total()*p.density/1000
	m["tallest"], m["contact.least"], m["overhang.most"] = tallest, contact, over
	m["thinnest"], m["narrowest"] = min(thin, widest), min(gap, widest)
	return out
}

// spots shows where to cut what is too large.
func (p *printer) spots(one piece) []step.Spot {
	if one.advice == nil {
		return nil
	}
	a, s := one.advice, one.mesh.Bounds().Size()
	at := a.middle
	return []step.Spot{{
		What: "too large for the bed", At: [3]float64{at.X, at.Y, at.Z}, Radius: math.Sqrt(a.area / math.Pi),
		Value: a.length, Unit: "mm", Surface: "pieces", Part: one.file.Part, Fault: true,
		Says: fmt.Sprintf("%s takes %.0f x %.0f x %.0f mm as it stands best; the bed takes %.0f x %.0f x %.0f mm. Cut it here, square to its longest extent (%.0f mm), through %.0f mm²; that leaves %.0f and %.0f mm. In the recipe's words: { at = [%.1f, %.1f, %.1f], toward = [%.3f, %.3f, %.3f] }",
			one.name, s.X, s.Y, s.Z, p.room.X, p.room.Y, p.room.Z, a.length, a.area, a.before, a.length-a.before, at.X, at.Y, at.Z, a.along.X, a.along.Y, a.along.Z),
	}}
}

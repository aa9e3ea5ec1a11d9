// Package smallparts is the step that holds every separately moulded piece
// against the small-parts gauge, and a supplier's declared phthalates against
// the published limits. It prints figures and cautions, never a verdict: what
// the law asks is for an accredited laboratory and the place of sale to say.
package smallparts

import (
	"context"
	"encoding/csv"
	"fmt"
	"strings"

	"layette/engine/step"
	"layette/steps/internal/geom"
	"layette/steps/internal/workpiece"
)

// Kind is the step.
type Kind struct{}

// The ages a toy may be meant for; there is no default.
const (
	underThree = "under 36 months"
	children   = "3 to 12 years"
	collectors = "14 years and over, collectors"
)

// Handbook implements step.Kind.
func (Kind) Handbook() step.Handbook {
	return step.Handbook{
		Name:    "small-parts",
		Version: 1,
		Summary: "Holds every piece against the small-parts gauge and declared phthalates against published limits.",
		Method: "A piece lies within the gauge if its convex hull does, for the gauge is convex. All orientations are searched " +
			"by branch and bound: \"fits\" comes with a turn that shows it, \"does not fit\" with every turn left out. What stands " +
			"proud by less than 0.002 mm counts as fitting, and so does what cannot be decided.\n\n" +
			"Both published gauges are tried, 31.7 mm and 1.25 in; the piece counts as fitting if it fits either. Pieces that " +
			"come off in use and abuse tests, paper, fabric, string and paint are not seen here.",
		Sources: []string{
			"16 CFR 1501.4 (a), (b)(1): the cylinder, \"in any orientation\", \"without compressing\"; dimensions in inches govern (1.00 in from memory)",
			"EN 71-1 / ISO 8124-1: 31.7 mm, sloping floor from 25.4 to 57.1 mm",
			"16 CFR 1307.3: eight phthalates, each at most 0.1 %",
			"Regulation (EU) 2018/2005, REACH annex XVII entry 51: DEHP, DBP, BBP and DIBP together below 0.1 %; entry 52: DINP, DIDP and DNOP together at most 0.1 % in toys that can be put in the mouth",
		},
		Cautions: []string{
			"A caution, not a verdict: an accredited laboratory must test the finished toy by the law of the place where it is sold.",
			"Pieces that a child can pull off (eyes, lashes, nails, magnets, weights) count as pieces too.",
			"Toys \"intended for use by children under 3 years\" are judged by what they are, not only by what the box says.",
		},
		Inputs: []step.Input{{Name: "pieces", Kind: step.Surface, Many: true, Doc: "every separately moulded piece, finished size"}},
		Values: []step.Value{
			{Name: "meant-for", Type: step.OneWord, OneOf: []string{underThree, children, collectors}, Doc: "the age the toy is meant for; must be stated"},
			{Name: "age-reason", Type: step.String, Optional: true, Doc: "why it is meant for collectors; asked for with that age"},
			{Name: "phthalates", Type: step.Tree, Optional: true, Doc: "the supplier's declared share of each phthalate in the plasticised material: { DEHP = \"0.01 %\", DINP = \"0.02 %\" }"},
		},
		Measures: []step.Measure{
			{Name: "pieces", Type: step.Count, Doc: "pieces held against the gauge"},
			{Name: "fitting", Type: step.Count, Doc: "pieces that lie wholly within a gauge, or may"},
			{Name: "fitting.names", Type: step.String, Many: true, Doc: "their names"},
			{Name: "gauge.asked", Type: step.Flag, Doc: "whether the age stated is the one the gauge is published for"},
			{Name: "phthalates.declared", Type: step.Flag, Doc: "whether the supplier's figures are here"},
			{Name: "phthalates.us.over", Type: step.Count, Doc: "substances above 0.1 % each (16 CFR 1307.3)"},
			{Name: "phthalates.eu51", Type: step.Share, Resolution: 1e-6, Doc: "DEHP, DBP, BBP and DIBP together"},
			{Name: "phthalates.eu51.reached", Type: step.Flag, Doc: "whether they reach 0.1 % (entry 51)"},
			{Name: "phthalates.eu52", Type: step.Share, Resolution: 1e-6, Doc: "DINP, DIDP and DNOP together"},
			{Name: "phthalates.eu52.over", Type: step.Flag, Doc: "whether they pass 0.1 % (entry 52, toys that can be put in the mouth)"},
		},
		Outputs: []step.Output{{Name: "table", Kind: step.Rows, Doc: "each piece with its size and the answer of both gauges (CSV)"}},
		Memory:  6,
	}
}

// Check implements step.Checker.
func (Kind) Check(values step.Values) []step.Complaint {
	var wrong []step.Complaint
	if values["meant-for"] == collectors && !values.Has("age-reason") {
		wrong = append(wrong, step.Complaint{Value: "meant-for", Says: "a doll meant for collectors needs its reason on file",
			Hint: "add age-reason = \"…\" to the stage's values"})
	}
	if t, ok := values["phthalates"].(step.Table); ok {
		wrong = append(wrong, declared(t)...)
	}
	return wrong
}

// Run implements step.Kind.
func (Kind) Run(ctx context.Context, job *step.Job) (*step.Outcome, error) {
	out := &step.Outcome{Measures: map[string]any{}}
	if err := gaugeAll(ctx, job, out); err != nil {
		return nil, err
	}
	out.Measures["gauge.asked"] = job.Values.Text("meant-for") == underThree
	declare(job.Values, out)
	return out, nil
}

func gaugeAll(ctx context.Context, job *step.Job, out *step.Outcome) error {
	files := job.Inputs["pieces"]
	job.Progress.Start("pieces held against the gauge", len(files))
	var table strings.Builder
	rows := csv.NewWriter(&table)
	rows.Write([]string{"piece", "length", "breadth", "height", "hull mm³", Metric.Name, Inch.Name})
	names := []string{}
	for _, f := range files {
		p, err := workpiece.Open(ctx, job, f)
		if err != nil {
			return err
		}
		name := strings.TrimPrefix(f.Part+" "+p.Base(), " ")
		h, err := geom.ConvexHull(corners(p.Mesh), 0.002)
		if err != nil {
			return fmt.Errorf("%s: %w", f.Name, err)
		}
		metric, err := Metric.Fits(ctx, h)
		if err != nil {
			return err
		}
		inch, err := Inch.Fits(ctx, h)
		if err != nil {
			return err
		}
		size := p.Mesh.Bounds().Size()
		rows.Write([]string{name, fmt.Sprintf("%.2f", size.X), fmt.Sprintf("%.2f", size.Y), fmt.Sprintf("%.2f", size.Z),
			fmt.Sprintf("%.0f", h.Volume()), metric.Answer.String(), inch.Answer.String()})
		if metric.Answer != Outside || inch.Answer != Outside {
			names = append(names, name)
			out.Spots = append(out.Spots, spot(len(out.Spots)+1, name, p, metric, inch))
		}
		job.Progress.Add(1)
	}
	rows.Flush()
	out.Measures["pieces"], out.Measures["fitting"], out.Measures["fitting.names"] = int64(len(files)), int64(len(names)), names
	return workpiece.WriteText(job, "table", "gauge.csv", table.String())
}

func corners(m *geom.Mesh) []geom.Vec {
	pts := make([]geom.Vec, len(m.Verts))
	for i, p := range m.Verts {
		pts[i] = p.Vec()
	}
	return pts
}

func spot(number int, name string, p workpiece.Piece, metric, inch Placed) step.Spot {
	b := p.Mesh.Bounds()
	at := b.Centre().Add(p.Mesh.Origin)
	answer := metric.Answer
	if answer == Outside {
		answer = inch.Answer
	}
	return step.Spot{
		Number: number, What: "small part", At: [3]float64{at.X, at.Y, at.Z}, Radius: b.Size().Len() / 2,
		Value: Metric.Diameter, Unit: "mm", Surface: "pieces", Part: p.File.Part, Fault: true,
		Says: fmt.Sprintf("%s: %s into the small-parts gauge. Make it larger, join it to another piece, or take advice from a laboratory.", name,
			map[Answer]string{Inside: "goes wholly", Undecided: "may go wholly"}[answer]),
	}
}

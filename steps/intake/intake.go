// Package intake is the step that looks at one shot of the scanner before
// anything is built on it: is it sharp, is it whole, is it what it says it is.
package intake

import (
	"context"
	"fmt"
	"math"
	"strings"

	"layette/engine/step"
	"layette/steps/internal/geom"
	"layette/steps/internal/shot"
	"layette/steps/internal/workpiece"
)

// Kind is the step.
type Kind struct{}

// Handbook implements step.Kind.
func (Kind) Handbook() step.Handbook {
	share := func(name, doc string) step.Measure {
		return step.Measure{Name: name, Type: step.Share, Resolution: 1e-5, Doc: doc}
	}
	length := func(name, doc string) step.Measure {
		return step.Measure{Name: name, Type: step.Length, Resolution: 0.0001, Doc: doc}
	}
	count := func(name, doc string) step.Measure {
		return step.Measure{Name: name, Type: step.Count, Doc: doc}
	}
	return step.Handbook{
		Name:    "intake",
		Version: 4,
		Summary: "Judges one scan and trims what no surface should be built on.",
		Method: "Triangles that span a jump in depth (an edge many times the usual) are taken out, then loose pieces, then points seen at a " +
			"grazing angle and points that stand alone out of their neighbourhood.\n\n" +
			"The noise is the scatter of points about their neighbourhood: each point's distance from the middle of its neighbours, less the " +
			"mean of the neighbours' own, so that the bend of the skin falls out; the median tells the scatter whatever single points do.\n\n" +
			"Scanners put themselves at zero and look at the skin. Where the skin does not agree with that, viewing angles are taken from the " +
			"mean of the normals. A scan whose skin faces away from the scanner is mirrored or turned over.\n\n" +
			"The verdict is keep (nothing was taken out), trim, or drop with the reason; a dropped scan gives no scan on. A person may overrule it " +
			"in the model sheet: set the value `verdict` of the stage for this scan, with a reason.",
		Sources: []string{
			"Heike et al., Head Face Med 2010;6:18, on what clinical capture spoils (abstract)",
			"structured-light scans of infant heads: 71 of 76 usable, Transl Pediatr (Wu, Fan et al.; abstract): of 150 to 200 shots 10 to 13 rejects are usual",
			"the weights of the second difference, 1.359 for six neighbours: derived",
		},
		Cautions: []string{"Figures of a scanner's accuracy hold for matt, still bodies (ISO 10360-13), not for skin, wet lips or hair."},
		Inputs:   []step.Input{{Name: "scan", Kind: step.Scan, Doc: "one shot"}},
		Values: []step.Value{
			{Name: "verdict", Type: step.OneWord, Default: "as found", OneOf: []string{"as found", "keep", "trim", "drop"}, Doc: "a person's word against the verdict found"},
			{Name: "noise", Type: step.Length, Default: "0.25 mm", Min: "0.001 mm", Doc: "a scan with more noise is dropped: the child moved, or it was out of the sharp range", Origin: "common practice, no source: two to three times a hand-held scanner's own"},
			{Name: "grazing", Type: step.Angle, Default: "75 deg", Min: "30 deg", Max: "90 deg", Doc: "skin seen more steeply is taken out", Origin: "common practice, no source"},
			{Name: "stretch", Type: step.Number, Default: "5", Min: "2", Doc: "triangles with an edge so many times the usual are taken out", Origin: "common practice, no source: five is a slope of 79 degrees"},
			{Name: "spike", Type: step.Number, Default: "6", Min: "3", Doc: "points so many times the noise out of their neighbourhood are taken out", Origin: "of a normal scatter one point in 500 million"},
			{Name: "stray", Type: step.Area, Default: "25 mm2", Doc: "loose pieces with less skin are taken out", Origin: "common practice, no source"},
			{Name: "least", Type: step.Area, Default: "60 mm2", Doc: "a scan with less skin left is dropped", Origin: "common practice, no source"},
			{Name: "trim-most", Type: step.Share, Default: "60 %", Doc: "a scan that would lose more of its points is dropped", Origin: "common practice, no source"},
			{Name: "longest", Type: step.Length, Default: "600 mm", Doc: "a scan larger than this is in another unit", Origin: "common practice: longer than a newborn"},
			{Name: "shortest", Type: step.Length, Default: "10 mm", Doc: "a scan smaller than this is in another unit", Origin: "common practice, no source"},
		},
		Measures: []step.Measure{
			{Name: "verdict", Type: step.String, Doc: "keep, trim or drop"},
			{Name: "found", Type: step.String, Doc: "the verdict before a person's word"},
			{Name: "reason", Type: step.String, Doc: "why"},
			count("points", "points in the file"),
			share("points.kept", "share of the points that are handed on"),
			length("spacing", "median distance of neighbouring points"),
			length("noise", "standard deviation of the points across the skin"),
			{Name: "turn", Type: step.Angle, Resolution: 0.001, Unit: "° per mm", Doc: "median turn of the skin: falls when a scan is blurred"},
			{Name: "area", Type: step.Area, Resolution: 0.01, Doc: "skin in it, trimmed"},
			length("size", "longest side of the trimmed scan"),
			count("stray.pieces", "loose pieces taken out"),
			count("stray.points", "points of loose pieces and points without skin"),
			count("stretched", "triangles across a jump in depth"),
			count("grazing", "points seen too steeply"),
			count("spikes", "points that stand alone"),
			count("holes", "holes within the patch, trimmed"),
			{Name: "angle.median", Type: step.Angle, Resolution: 0.01, Doc: "median viewing angle, 0 is square on"},
			{Name: "scanner.known", Type: step.Flag, Doc: "the file shows where the scanner stood"},
		},
		Outputs: []step.Output{
			{Name: "scan", Kind: step.Scan, Many: true, Doc: "the scan, trimmed; nothing if it was dropped"},
			{Name: "row", Kind: step.Rows, Doc: "what was found, for the session's table (JSON)"},
		},
		Memory: 6,
	}
}

// Run implements step.Kind.
func (Kind) Run(ctx context.Context, job *step.Job) (*step.Outcome, error) {
	files := job.Inputs["scan"]
	if len(files) != 1 {
		return nil, fmt.Errorf("input %q needs one file and has %d", "scan", len(files))
	}
	s, err := look(ctx, job, files[0])
	if err != nil {
		return nil, err
	}
	s.judge(job.Values)
	verdict := s.verdict
	var notes []string
	if word := job.Values.Text("verdict"); word != "as found" {
		if s.trimmed == nil && word != "drop" {
			return nil, fmt.Errorf("%s: a person's word is to %s it, and it cannot be: %s", files[0].Name, word, s.reason)
		}
		if verdict = word; word != s.verdict {
			notes = append(notes, fmt.Sprintf("A person's word: %s. Found was: %s, %s.", word, s.verdict, s.reason))
		}
	}
	if err := s.hand(job, files[0], verdict); err != nil {
		return nil, err
	}
	out := &step.Outcome{Measures: s.measures(verdict), Spots: s.spots(), Notes: append(notes, s.notes...)}
	return out, nil
}

// hand gives the scan on, whole or trimmed, and the row for the session.
func (s *sighting) hand(job *step.Job, f step.File, verdict string) error {
	switch verdict {
	case "keep":
		if err := job.Pass("scan", f); err != nil {
			return err
		}
	case "trim":
		if err := workpiece.Write(job, "scan", "scan.ply", s.trimmed.Mesh); err != nil {
			return err
		}
	}
	return s.writeRow(job, verdict)
}

// sighting is what was seen of a scan.
type sighting struct {
	piece   workpiece.Piece
	sum     string     // digest of its points, whatever their order
	trimmed *shot.Shot // nil if there is nothing to look at
	cut     cut
	verdict string
	reason  string
	wrong   string // why it cannot be used at all; empty if it can
	notes   []string
}

// look reads and trims a scan. A file that cannot be read is a verdict, not an
// error.
func look(ctx context.Context, job *step.Job, f step.File) (*sighting, error) {
	s := &sighting{}
	piece, err := workpiece.OpenScan(ctx, job, f)
	switch {
	case ctx.Err() != nil:
		return nil, context.Cause(ctx)
	case err != nil:
		s.piece.Mesh = &geom.Mesh{}
		s.wrong = strings.TrimPrefix(err.Error(), f.Name+": ") // the row and the stage name the file
		return s, nil
	}
	s.piece = piece
	s.notes = piece.Notes()
	s.sum = digest(piece.Mesh)
	if len(piece.Mesh.Tris) == 0 {
		s.wrong = noSkin(piece)
		return s, nil
	}
	s.trimmed, s.cut, err = trim(ctx, piece.Mesh, job.Values, job.Workers)
	switch {
	case ctx.Err() != nil:
		return nil, context.Cause(ctx)
	case err != nil:
		s.wrong = err.Error()
		if size, least := longest(piece.Mesh), job.Values.Float("shortest"); size > 0 && size < least {
			s.wrong = tooShort(size, least) // and that is why its skin is too little
		}
	}
	return s, nil
}

// judge finds the verdict: the first thing that speaks against the scan.
func (s *sighting) judge(v step.Values) {
	s.verdict, s.reason = "drop", s.against(v)
	switch {
	case s.reason != "":
	case s.cut.any():
		s.verdict, s.reason = "trim", s.cut.says()
	default:
		s.verdict, s.reason = "keep", "nothing speaks against it"
	}
}

func (s *sighting) against(v step.Values) string {
	if s.wrong != "" {
		return s.wrong
	}
	size := longest(s.trimmed.Mesh)
	kept := s.kept()
	switch {
	case s.trimmed.View.Away:
		return "its skin faces away from the scanner: the file is mirrored or its triangles are turned over"
	case size > v.Float("longest"):
		return fmt.Sprintf("it is %s long, more than %.4g mm: is it in another unit?", mm(size), v.Float("longest"))
	case size < v.Float("shortest"):
		return tooShort(size, v.Float("shortest"))
	case s.trimmed.Mesh.Area() < v.Float("least"):
		return fmt.Sprintf("only %.0f mm² of skin are left of it, less than %.0f mm²", s.trimmed.Mesh.Area(), v.Float("least"))
	case 1-kept > v.Float("trim-most"):
		return fmt.Sprintf("%.0f %% of its points would have to go: %s", 100*(1-kept), s.cut.says())
	case s.trimmed.Noise > v.Float("noise"):
		or := ""
		if size > v.Float("longest")/2 { // noise grows with a wrong unit as lengths do
			or = fmt.Sprintf(", or it is in another unit: it is %s long", mm(size))
		}
		return fmt.Sprintf("its noise is %.3f mm, above %.3g mm: the child moved, or it was out of the sharp range%s", s.trimmed.Noise, v.Float("noise"), or)
	}
	return ""
}

func tooShort(size, least float64) string {
	return fmt.Sprintf("it is %s long, less than %.4g mm: is it in another unit?", mm(size), least)
}

// mm says a length with three figures, and never with an exponent.
func mm(x float64) string {
	if x >= 100 {
		return fmt.Sprintf("%.0f mm", x)
	}
	return fmt.Sprintf("%.3g mm", max(x, 0.001)) // of less nobody asks
}

// noSkin says what speaks against a scan without triangles.
func noSkin(p workpiece.Piece) string {
	says := fmt.Sprintf("it holds %s and no skin between them", points(len(p.Mesh.Verts)))
	if n := p.Info.PointsNotFinite; n > 0 && p.Info.NotFinite > 0 {
		return fmt.Sprintf("%s, for %s are NaN or infinite: export it again", says, points(n))
	}
	return says + ": export it as triangles or as a range grid"
}

func points(n int) string {
	if n == 1 {
		return "one point"
	}
	return fmt.Sprintf("%d points", n)
}

func (s *sighting) kept() float64 {
	if s.trimmed == nil || len(s.piece.Mesh.Verts) == 0 {
		return 0
	}
	return float64(len(s.trimmed.Mesh.Verts)) / float64(len(s.piece.Mesh.Verts))
}

// handed returns the share of the points that is handed on.
func (s *sighting) handed(verdict string) float64 {
	switch verdict {
	case "keep":
		return 1
	case "trim":
		return s.kept()
	}
	return 0
}

func longest(m *geom.Mesh) float64 {
	if len(m.Verts) == 0 {
		return 0
	}
	size := m.Bounds().Size()
	return max(size.X, size.Y, size.Z)
}

// measures tells what was found; what could not be looked at is unknown.
func (s *sighting) measures(verdict string) map[string]any {
	m := map[string]any{
		"verdict": verdict, "found": s.verdict, "reason": s.reason, "points": int64(len(s.piece.Mesh.Verts)), "points.kept": s.handed(verdict),
		"stray.pieces": int64(s.cut.pieces), "stray.points": int64(s.cut.stray), "stretched": int64(s.cut.stretched),
		"grazing": int64(s.cut.grazing), "spikes": int64(s.cut.spikes),
	}
	t := s.trimmed
	if t == nil {
		return m
	}
	m["spacing"], m["noise"], m["turn"] = t.Spacing, t.Noise, turn(t)
	m["area"], m["size"], m["holes"] = t.Mesh.Area(), longest(t.Mesh), int64(len(s.holes()))
	m["angle.median"], m["scanner.known"] = middleAngle(t), t.View.Known
	return m
}

// middleAngle returns the median viewing angle in degrees.
func middleAngle(t *shot.Shot) float64 {
	cos := append([]float32(nil), t.Cos...)
	return math.Acos(min(max(shot.Middle(cos), -1), 1)) * 180 / math.Pi
}

// turn returns the median turn of the smoothed skin, degrees for each mm.
func turn(t *shot.Shot) float64 {
	var all []float32
	for _, tri := range t.Mesh.Tris {
		a, b := tri[0], tri[1]
		if l := t.Mesh.Verts[a].Vec().Sub(t.Mesh.Verts[b].Vec()).Len(); l > 0 {
			all = append(all, float32(t.Normals[a].Sub(t.Normals[b]).Len()/l))
		}
	}
	return shot.Middle(all) * 180 / math.Pi
}

// Package factorysheet is the step that writes what a factory has to read: one
// sheet as a page and as a PDF, with a true-scale drawing of every master.
package factorysheet

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"

	"layette/engine/step"
	"layette/steps/internal/factory"
)

// Kind is the step.
type Kind struct{}

// Handbook implements step.Kind.
func (Kind) Handbook() step.Handbook {
	return step.Handbook{
		Name:    "factory-sheet",
		Version: 3,
		Summary: "Writes the sheet that goes to the factory: drawings with main dimensions, shrinkage, concessions, pictures.",
		Method: "Each master is drawn standing on its largest opening, facing as near to +Y as that allows: from the front, from its left and " +
			"from the opening in third-angle projection, with the section across it that encloses most (of 35 at equal steps between a tenth " +
			"of the height and the tips). The scale is the largest of 1:1, 1:2, 1:2.5, 1:5 and so on at which the views fit the paper; the openings follow at " +
			"their true size. Dimensions are those of the master, to 0.1 mm, measured on all its points and not on the drawing. An " +
			"opening is the rim of open skin, or the flat face that a sharp edge all round parts from it.\n\n" +
			"The page loads nothing from outside. The PDF says the same on A4, plates in true millimetres; its letters are the Go " +
			"fonts, part of the file, and what they cannot write (Chinese, say) is a question mark there and whole on the page. " +
			"Nothing on either depends on the day they were written. Photographs are written anew, made small, as they are stored: " +
			"turn them upright first; what a camera notes beside the picture does not go with it.\n\n" +
			"Let the release sign for the sheet as well as for the masters: it then goes out exactly as it was approved.",
		Sources: []string{
			"ISO 128-2 and 128-3 (lines, views, sections), ISO 129-1 (dimensions), ISO 3098-1 (lettering), ISO 5455 (scales), ISO 5456-2 (third-angle projection), ISO 7200 (title block): from memory",
			"ISO 1: lengths hold at 20 degrees C; ISO 294-4: moulding shrinkage as a share of the mould (formula from memory)",
			"D. H. Douglas and T. K. Peucker, Algorithms for the reduction of the number of points required to represent a digitized line, 1973 (outlines; from memory)",
		},
		Cautions: append([]string{"Send a child's likeness only as the guardians agreed in writing."}, Cautions...),
		Inputs: []step.Input{
			{Name: "masters", Kind: step.Surface, Many: true, Named: true, Doc: "the surfaces that moulds are made from"},
			{Name: "accounts", Kind: step.Rows, Many: true, Optional: true, Named: true, Doc: "the accounts of the stages before: gates, concessions, signatures, scales"},
			{Name: "photos", Kind: step.Picture, Many: true, Optional: true, Named: true, Doc: "photographs, PNG or JPEG, upright"},
		},
		Values: factory.Values(),
		Measures: []step.Measure{
			{Name: "masters", Type: step.Count, Doc: "masters drawn"},
			{Name: "plates", Type: step.Count, Doc: "plates in all"},
			{Name: "openings", Type: step.Count, Doc: "masters with an opening"},
			{Name: "concessions", Type: step.Count, Doc: "gates that did not hold and were conceded"},
			{Name: "unstated", Type: step.String, Many: true, Doc: "what a factory must know and the values do not say"},
			{Name: "unstated.count", Type: step.Count, Doc: "how many of these there are"},
		},
		Outputs: []step.Output{
			{Name: "sheet", Kind: step.Text, Doc: "the page (HTML)"},
			{Name: "print", Kind: step.Any, Doc: "the same for paper (PDF, A4)"},
		},
		Memory: 10,
	}
}

// Run implements step.Kind.
func (Kind) Run(ctx context.Context, job *step.Job) (*step.Outcome, error) {
	files := job.Inputs["masters"]
	if len(files) == 0 {
		return nil, errors.New("there are no masters to draw")
	}
	accounts, err := readAccounts(job.Inputs["accounts"])
	if err != nil {
		return nil, err
	}
	taken := widths{}
	photos, err := readPhotos(ctx, job.Inputs["photos"], taken)
	if err != nil {
		return nil, err
	}
	job.Progress.Start("masters drawn", len(files))
	var masters []*master
	for _, f := range files {
		m, err := look(ctx, job, f, taken)
		if err != nil {
			return nil, err
		}
		masters = append(masters, m)
		job.Progress.Add(1)
	}
	s := newSheet(job.Values, masters, accounts, photos)
	return s.write(ctx, job)
}

// write writes the sheet both ways.
func (s *sheet) write(ctx context.Context, job *step.Job) (*step.Outcome, error) {
	page, err := s.writeHTML()
	if err != nil {
		return nil, err
	}
	paper, missing, err := s.writePDF(ctx)
	if err != nil {
		return nil, err
	}
	for _, out := range []struct {
		output, name string
		data         []byte
	}{{"sheet", "factory-sheet.html", page}, {"print", "factory-sheet.pdf", paper}} {
		w, err := job.Create(out.output, out.name)
		if err != nil {
			return nil, err
		}
		_, err = w.Write(out.data)
		if err := errors.Join(err, w.Close()); err != nil {
			return nil, err
		}
	}
	return s.outcome(missing), nil
}

func (s *sheet) outcome(missing int) *step.Outcome {
	unstated := []string{}
	for _, name := range []string{"studio", "contact", "material", "wall", "shrinkage", "age-grade"} {
		if !s.values.Has(name) {
			unstated = append(unstated, name)
		}
	}
	out := &step.Outcome{}
	var plates, openings, conceded int64
	for _, b := range s.blocks {
		if b.Plate != nil {
			plates++
		}
	}
	for _, m := range s.masters {
		out.Notes = append(out.Notes, m.Notes...)
		if m.Opening != nil {
			openings++
		}
	}
	for _, a := range s.accounts {
		for _, g := range a.Gates {
			if g.Concession != nil {
				conceded++
			}
		}
	}
	if missing > 0 {
		out.Notes = append(out.Notes, fmt.Sprintf("The PDF shows a question mark for %d letters that its fonts have not; the page shows them.", missing))
	}
	out.Measures = map[string]any{"masters": int64(len(s.masters)), "plates": plates, "openings": openings, "concessions": conceded,
		"unstated": unstated, "unstated.count": int64(len(unstated))}
	return out
}

// An account of a stage with some thousand spots takes well under a megabyte.
const largestAccount = 16 << 20

func readAccounts(files []step.File) ([]step.Account, error) {
	var accounts []step.Account
	for _, f := range files {
		a, err := readAccount(f)
		if err != nil {
			return nil, fmt.Errorf("account %s: %w", f.Name, err)
		}
		accounts = append(accounts, a)
	}
	return accounts, nil
}

func readAccount(f step.File) (a step.Account, err error) {
	if f.Size > largestAccount {
		return a, fmt.Errorf("%d bytes are too many for an account", f.Size)
	}
	r, err := f.Open()
	if err != nil {
		return a, err
	}
	defer r.Close()
	data, err := io.ReadAll(io.LimitReader(r, largestAccount))
	if err != nil {
		return a, err
	}
	return a, json.Unmarshal(data, &a)
}

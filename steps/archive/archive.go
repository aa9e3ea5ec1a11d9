// Package archive is the step that proves the backups: every original and
// export has a second and a third copy with the same bytes, or it is named.
package archive

import (
	"bytes"
	"context"
	"encoding/csv"
	"fmt"
	"io"
	"slices"
	"strings"

	"layette/engine/step"
	"layette/steps/internal/bagit"
)

// Kind is the step.
type Kind struct{}

// Handbook implements step.Kind.
func (Kind) Handbook() step.Handbook {
	return step.Handbook{
		Name:    "archive",
		Version: 1,
		Summary: "Proves that every original has a second and a third copy with the same bytes.",
		Method: "The engine digests the originals and both copies (SHA-256); the step compares them path by path and names " +
			"what is missing, damaged or extra. A copy that is a bag (it has a bagit.txt) must also be a valid bag, and " +
			"its payload folder data/ is what is compared. The step writes the tag files that turn a plain copy into a " +
			"bag: put the originals under data/ and these files beside it.\n\n" +
			"A digest is remembered while a file's size and times stand still; `layette run --rehash` reads every byte " +
			"again, which is what finds a disk that has quietly lost one.",
		Sources: []string{"RFC 8493, The BagIt File Packaging Format (V1.0), 2018"},
		Cautions: []string{
			"Two copies on one disk are one copy. Keep one away from the house.",
			"Scans of a child's face can identify the child: keep copies locked away and keep to what the guardians agreed.",
		},
		Inputs: []step.Input{
			{Name: "originals", Kind: step.Any, Many: true, Named: true, Doc: "scans, castings' scans, photographs, exports"},
			{Name: "second", Kind: step.Any, Many: true, Optional: true, Named: true, Doc: "the folder with the second copy"},
			{Name: "third", Kind: step.Any, Many: true, Optional: true, Named: true, Doc: "the folder with the third copy"},
		},
		Measures: []step.Measure{
			{Name: "originals.files", Type: step.Count, Doc: "how many originals there are"},
			{Name: "originals.bytes", Type: step.Count, Doc: "their size in bytes"},
			{Name: "copies.complete", Type: step.Count, Doc: "how many copies hold every original with the same bytes: 0, 1 or 2"},
			{Name: "missing", Type: step.Count, Doc: "originals that a copy lacks, over both copies"},
			{Name: "damaged", Type: step.Count, Doc: "originals that a copy holds with other bytes, over both copies"},
			{Name: "extra", Type: step.Count, Doc: "files of a copy that no original answers to, over both copies"},
			{Name: "bags.wrong", Type: step.Count, Doc: "things wrong with copies that are bags"},
		},
		Outputs: []step.Output{
			{Name: "table", Kind: step.Rows, Doc: "one line for each file: path, digest, bytes, state of both copies (CSV)"},
			{Name: "tags", Kind: step.Text, Many: true, Doc: "bagit.txt, bag-info.txt and manifest for a copy that is to be a bag"},
		},
	}
}

// Run implements step.Kind.
func (Kind) Run(ctx context.Context, job *step.Job) (*step.Outcome, error) {
	originals := entries(job.Inputs["originals"])
	second, err := lookAt(ctx, "second", originals, job.Inputs["second"])
	if err != nil {
		return nil, err
	}
	third, err := lookAt(ctx, "third", originals, job.Inputs["third"])
	if err != nil {
		return nil, err
	}
	if err := write(job, originals, second, third); err != nil {
		return nil, err
	}
	return outcome(originals, second, third), nil
}

func entries(files []step.File) []bagit.File {
	list := make([]bagit.File, len(files))
	for i, f := range files {
		list[i] = bagit.File{Path: f.Name, SHA256: f.SHA256, Size: f.Size}
	}
	slices.SortFunc(list, func(a, b bagit.File) int { return strings.Compare(a.Path, b.Path) })
	return list
}

// write makes the table and the tag files.
func write(job *step.Job, originals []bagit.File, copies ...*copied) error {
	var table bytes.Buffer
	w := csv.NewWriter(&table)
	w.Write([]string{"path", "sha256", "bytes", "second", "third"})
	for _, f := range originals {
		w.Write([]string{f.Path, f.SHA256, fmt.Sprint(f.Size), copies[0].state(f), copies[1].state(f)})
	}
	for i, c := range copies {
		for _, path := range c.extra {
			row := []string{path, c.have[path].SHA256, fmt.Sprint(c.have[path].Size), "", ""}
			row[3+i] = "extra"
			w.Write(row)
		}
	}
	w.Flush()
	payload := make([]bagit.File, len(originals))
	for i, f := range originals {
		payload[i] = f
		payload[i].Path = "data/" + f.Path
	}
	info := bagit.Info{{Name: "Payload-Oxum", Value: bagit.Oxum(payload)}}
	for _, f := range []struct {
		output, name string
		data         []byte
	}{
		{"table", "copies.csv", table.Bytes()},
		{"tags", bagit.DeclarationFile, []byte(bagit.Declaration)},
		{"tags", bagit.InfoFile, info.Bytes()},
		{"tags", bagit.ManifestFile, bagit.Manifest(payload)},
	} {
		if err := put(job, f.output, f.name, f.data); err != nil {
			return err
		}
	}
	return nil
}

func put(job *step.Job, output, name string, data []byte) error {
	w, err := job.Create(output, name)
	if err != nil {
		return err
	}
	if _, err := io.Copy(w, bytes.NewReader(data)); err != nil {
		w.Close()
		return err
	}
	return w.Close()
}

package archive

import (
	"context"
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"

	"layette/engine/step"
	"layette/steps/internal/bagit"
)

// copied is one copy compared with the originals.
type copied struct {
	name    string
	there   bool // whether there is a copy at all
	have    map[string]bagit.File
	missing []string
	damaged []string
	extra   []string
	wrong   []string // what is wrong with it as a bag
}

// lookAt compares a copy's files with the originals.
func lookAt(ctx context.Context, name string, originals []bagit.File, files []step.File) (*copied, error) {
	c := &copied{name: name, there: len(files) > 0, have: map[string]bagit.File{}}
	files, err := c.unpack(ctx, files)
	if err != nil {
		return nil, err
	}
	for _, f := range entries(files) {
		c.have[f.Path] = f
	}
	known := map[string]bool{}
	for _, f := range originals {
		known[f.Path] = true
		switch c.state(f) {
		case "missing":
			c.missing = append(c.missing, f.Path)
		case "damaged":
			c.damaged = append(c.damaged, f.Path)
		}
	}
	for _, path := range slices.Sorted(maps.Keys(c.have)) {
		if !known[path] {
			c.extra = append(c.extra, path)
		}
	}
	return c, nil
}

// unpack returns the files of a plain copy, or the payload of one that is a
// bag, which is checked as a bag besides.
func (c *copied) unpack(ctx context.Context, files []step.File) ([]step.File, error) {
	tags := map[string]step.File{}
	for _, f := range files {
		if !strings.Contains(f.Name, "/") {
			tags[f.Name] = f
		}
	}
	if _, bag := tags[bagit.DeclarationFile]; !bag {
		return files, nil
	}
	report := bagit.Check(entries(files), func(path string) ([]byte, error) { return readTag(tags[path]) })
	c.wrong = report.Wrong
	for _, kind := range []struct {
		says  string
		paths []string
	}{{"lists %q, which is not there", report.Missing}, {"lists %q with other bytes", report.Damaged}, {"does not list %q", report.Extra}} {
		for _, path := range kind.paths {
			c.wrong = append(c.wrong, fmt.Sprintf(kind.says, path))
		}
	}
	var payload []step.File
	for _, f := range files {
		if rest, ok := strings.CutPrefix(f.Name, "data/"); ok {
			f.Name = rest
			payload = append(payload, f)
		}
	}
	return payload, ctx.Err()
}

// A manifest of 10,000 files takes about a megabyte.
const largestTag = 64 << 20

func readTag(f step.File) ([]byte, error) {
	if f.Open == nil {
		return nil, fmt.Errorf("no such file at the top of the bag")
	}
	if f.Size > largestTag {
		return nil, fmt.Errorf("%d bytes are too many for a tag file", f.Size)
	}
	r, err := f.Open()
	if err != nil {
		return nil, err
	}
	defer r.Close()
	return io.ReadAll(io.LimitReader(r, largestTag))
}

// state says how the copy holds an original.
func (c *copied) state(f bagit.File) string {
	if !c.there {
		return "no copy"
	}
	switch have, ok := c.have[f.Path]; {
	case !ok:
		return "missing"
	case have.SHA256 != f.SHA256:
		return "damaged"
	}
	return "same"
}

func (c *copied) complete() bool {
	return c.there && len(c.missing)+len(c.damaged)+len(c.wrong) == 0
}

// most is how many files of a sort are named in notes; the table has them all.
const most = 12

func (c *copied) notes() []string {
	if !c.there {
		return []string{fmt.Sprintf("There is no %s copy. Name its folder in the model sheet under [folders.%s].", c.name, c.name)}
	}
	var notes []string
	for _, sort := range []struct {
		says  string
		paths []string
	}{
		{"%[2]s is missing from the %[1]s copy.", c.missing},
		{"%[2]s has other bytes in the %[1]s copy; one of the two is damaged.", c.damaged},
		{"%[2]s is in the %[1]s copy and among no originals.", c.extra},
		{"The bag of the %s copy: %s.", c.wrong},
	} {
		for i, path := range sort.paths {
			if i == most {
				notes = append(notes, fmt.Sprintf("… and %d more; the table has them all.", len(sort.paths)-most))
				break
			}
			notes = append(notes, fmt.Sprintf(sort.says, c.name, path))
		}
	}
	return notes
}

func outcome(originals []bagit.File, copies ...*copied) *step.Outcome {
	var bytes, complete, missing, damaged, extra, wrong int64
	out := &step.Outcome{}
	for _, f := range originals {
		bytes += f.Size
	}
	for _, c := range copies {
		if c.complete() {
			complete++
		}
		if !c.there {
			missing += int64(len(originals))
		}
		missing += int64(len(c.missing))
		damaged += int64(len(c.damaged))
		extra += int64(len(c.extra))
		wrong += int64(len(c.wrong))
		out.Notes = append(out.Notes, c.notes()...)
	}
	if path := agreed(copies[0], copies[1]); path != "" {
		out.Notes = append(out.Notes, fmt.Sprintf("Both copies hold %s with the same bytes, and the original differs: it may be the original that changed.", path))
	}
	out.Measures = map[string]any{
		"originals.files": int64(len(originals)), "originals.bytes": bytes, "copies.complete": complete,
		"missing": missing, "damaged": damaged, "extra": extra, "bags.wrong": wrong,
	}
	return out
}

// agreed returns a damaged file that both copies hold alike, or nothing.
func agreed(a, b *copied) string {
	for _, path := range a.damaged {
		if other, ok := b.have[path]; ok && other.SHA256 == a.have[path].SHA256 {
			return path
		}
	}
	return ""
}

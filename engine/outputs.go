package engine

import (
	"fmt"
	"path"
	"slices"
	"strings"

	"layette/engine/recipe"
	"layette/engine/step"
	"layette/engine/store"
)

// files returns a trace's outputs as files.
func (w *walk) files(n *node, st *Status, t *store.Trace) ([]File, error) {
	var files []File
	for _, made := range t.Outputs {
		f := File{
			Role: made.Output, Name: made.Name, Units: made.Units, SHA256: made.SHA256, Size: made.Size,
			Kind: outputKind(n.book, made.Output), From: n.Node, part: n.Part, scan: n.Scan,
		}
		if made.Passed == "" {
			f.Path = path.Join(n.folder(w.plan), made.Name)
			f.bytes = where{place: w.m.here(), name: store.ObjectName(made.SHA256)}
		} else {
			in := inputAt(st.Inputs, made.Passed, made.Place)
			if in == nil || in.SHA256 != made.SHA256 {
				return nil, fmt.Errorf("the stored trace gives on input %s, which is not there", made.Passed)
			}
			f.Path, f.bytes, f.part, f.scan = in.Path, in.bytes, in.part, in.scan
			if made.Name != in.Name && made.Name != in.Path { // packed under a new name
				f.Path = path.Join(n.folder(w.plan), made.Name)
			}
		}
		files = append(files, f)
	}
	return files, nil
}

func inputAt(inputs []File, role string, place int) *File {
	for i := range inputs {
		if inputs[i].Role != role {
			continue
		}
		if place == 0 {
			return &inputs[i]
		}
		place--
	}
	return nil
}

func outputKind(book step.Handbook, output string) step.FileKind {
	for _, o := range book.Outputs {
		if o.Name == output {
			return o.Kind
		}
	}
	return step.Any
}

// outFolder is where visible results lie, below the model's folder.
const outFolder = "out"

// folder is where a node's visible results lie: out/left-arm/gaps, out/kit/bag
// for a stage of the whole kit, out/head/intake/017 for a scan.
func (n *node) folder(p *plan) string {
	if n.Scan == "" {
		return path.Join(outFolder, partFolder(n.Part), n.Stage)
	}
	return path.Join(outFolder, partFolder(n.Part), n.Stage, scanFolder(n.Scan, p.scanGlob(n.Part)))
}

func partFolder(part string) string {
	if part == "" {
		return "kit"
	}
	return part
}

func (p *plan) scanGlob(part string) string {
	i := slices.IndexFunc(p.recipe.Parts, func(q *recipe.Part) bool { return q.Name == part })
	if i < 0 {
		return ""
	}
	return p.recipe.Parts[i].Scans
}

// scanFolder is a scan's path below the part of its glob that names folders
// outright, without the ending if the glob names that: 017 for
// scans/head/017.ply under scans/head/*.ply.
func scanFolder(scan, glob string) string {
	if i := strings.IndexAny(glob, `*?[\`); i >= 0 {
		scan = strings.TrimPrefix(scan, glob[:strings.LastIndex(glob[:i], "/")+1])
	}
	if ext := path.Ext(glob); ext != "" && !strings.ContainsAny(ext, `*?[\`) {
		scan = strings.TrimSuffix(scan, ext)
	}
	return scan
}

package engine

import (
	"fmt"
	"path"
	"strings"

	"layette/engine/step"
)

// gather finds a node's input files; what stands in the way is a state and a sentence.
func (w *walk) gather(n *node, st *Status) (State, string) {
	for _, f := range n.feeds {
		if f.away != "" {
			return Handwork, f.away
		}
		files, state, says := w.feed(n, f)
		if says != "" {
			return state, says
		}
		if len(files) == 0 && !f.in.Optional {
			if glob := w.plan.scanGlob(n.Part); len(f.in.From) > 0 && len(f.from) == 0 && glob != "" {
				return Handwork, fmt.Sprintf("no shot %s yet", glob)
			}
			if len(f.in.From) > 0 {
				return Failed, fmt.Sprintf("%s gives no %s for input %s", f.in.From[0].Stage, f.in.From[0].Output, f.in.Name)
			}
			return Handwork, awaited(f)
		}
		if len(files) > 1 && !f.decl.Many {
			return Failed, fmt.Sprintf("input %s takes one file and there are %d: %s", f.in.Name, len(files), names(files))
		}
		st.Inputs = append(st.Inputs, files...)
	}
	return "", ""
}

func awaited(f feed) string {
	if f.in.Folder != "" {
		return fmt.Sprintf("no file %s in %s yet", f.glob, f.in.Folder)
	}
	return fmt.Sprintf("no file %s yet", f.glob)
}

// names lists at most three files.
func names(files []File) string {
	var list []string
	for _, f := range files[:min(len(files), 3)] {
		list = append(list, f.Path)
	}
	if len(files) > 3 {
		list = append(list, "…")
	}
	return strings.Join(list, ", ")
}

// feed returns the files of one input.
func (w *walk) feed(n *node, f feed) ([]File, State, string) {
	var files []File
	for _, out := range f.from {
		if out.output == step.AccountOutput {
			told, err := w.of(out.node).account()
			if err != nil {
				return nil, Failed, err.Error()
			}
			told.Role = f.in.Name
			files = append(files, told)
			continue
		}
		for _, made := range w.of(out.node).Files {
			if made.Role == out.output {
				made.Role, made.From = f.in.Name, out.node.Node
				files = append(files, made)
			}
		}
	}
	for _, src := range f.files {
		sum, ok := w.sums.byName[src.shown]
		if !ok {
			return nil, Failed, w.sums.fault(src.shown).Error()
		}
		files = append(files, File{
			Role: f.in.Name, Name: path.Base(src.name), Path: src.shown, Kind: f.decl.Kind, Units: f.in.Units,
			SHA256: sum.SHA256, Size: sum.Size, part: n.Part, scan: n.Scan,
			bytes: where{place: src.place, name: src.name, source: true, sum: sum},
		})
	}
	return files, "", ""
}

package recipe

import (
	"fmt"
	"slices"
	"strings"

	"layette/engine/diag"
	"layette/engine/step"
)

// units are what the coordinates of a surface may be in.
var units = []string{"mm", "cm", "m", "in", "um"}

// inputs reads where a stage's inputs come from, in the order its step
// declares them.
func (r *reader) inputs(s *staged) {
	for _, decl := range s.book.Inputs {
		n := s.node.get(decl.Name)
		if n == nil {
			if !decl.Optional {
				r.bad.Add(&diag.Problem{Pos: s.node.keyAt, Code: "missing-input",
					Msg:  fmt.Sprintf("stage %q lacks its input %s: %s", s.Name, decl.Name, decl.Doc),
					Hint: fmt.Sprintf("write %s = { from = \"STAGE\" } or %s", decl.Name, fileExample(decl))})
			}
			continue
		}
		s.inputs[decl.Name] = n
		if in := r.input(s, decl, n); in != nil {
			s.Inputs = append(s.Inputs, in)
		}
	}
}

func fileExample(decl step.Input) string {
	if measured(decl.Kind) {
		return fmt.Sprintf("%s = { file = \"sculpt/{part}.stl\", units = \"mm\" }", decl.Name)
	}
	return fmt.Sprintf("%s = { file = \"FOLDER/NAME\" }", decl.Name)
}

// measured reports whether a kind of file has coordinates.
func measured(kind step.FileKind) bool { return kind == step.Surface || kind == step.Scan }

func (r *reader) input(s *staged, decl step.Input, n *node) *Input {
	if !n.isTable() {
		r.at(n, "wrong-type", fmt.Sprintf("input %s must say where it comes from", decl.Name),
			fmt.Sprintf("write %s = { from = \"STAGE\" } or %s", decl.Name, fileExample(decl)))
		return nil
	}
	in := &Input{Name: decl.Name, Optional: decl.Optional, Pos: n.keyAt}
	r.only(n, "an input", "from", "output", "file", "folder", "units")
	from, file, folder := n.get("from"), n.get("file"), n.get("folder")
	switch {
	case from != nil && (file != nil || folder != nil):
		r.at(n, "two-sources", fmt.Sprintf("input %s comes both from a stage and from files", decl.Name), "keep one of from and file")
	case from != nil:
		r.fromStages(s, decl, n, in)
	case file != nil || folder != nil:
		r.fromFiles(s, decl, n, in)
	default:
		r.at(n, "missing-key", fmt.Sprintf("input %s must say where it comes from", decl.Name), `give it from = "STAGE" or file = "..."`)
	}
	return in
}

// fromFiles reads { file = ..., folder = ..., units = ... }.
func (r *reader) fromFiles(s *staged, decl step.Input, n *node, in *Input) {
	in.Files = []string{"**"}
	if n.get("file") != nil {
		in.Files = r.globs(s, n, "file")
	}
	if f := n.get("folder"); f != nil {
		in.Folder = r.text(n, "folder")
		if _, ok := f.text1(); ok && r.sheet != nil && r.out.Folders[in.Folder] == nil {
			r.at(f, "unknown-folder", fmt.Sprintf("the model sheet names no folder %q", in.Folder),
				fmt.Sprintf("write [folders.%s] with its path in %s", in.Folder, r.src.Sheet.Name))
		}
	}
	if o := n.get("output"); o != nil {
		r.atKey(o, "unknown-key", "output belongs to an input from a stage", "leave it out")
	}
	r.units(decl, n, in)
}

// globs reads one glob of files or a list of them.
func (r *reader) globs(s *staged, n *node, key string) []string {
	var globs []string
	for _, item := range r.texts(n, key) {
		glob := item.value.(string)
		if r.path(item, glob) {
			r.braces(s, item, glob)
		}
		globs = append(globs, glob)
	}
	if k := n.get(key); k.kind == array && len(k.kids) == 0 {
		r.at(k, "missing-key", "the list of files is empty", "")
	}
	return globs
}

// units reads the unit of coordinates, which files of surfaces do not hold.
func (r *reader) units(decl step.Input, n *node, in *Input) {
	u := n.get("units")
	in.Units = r.text(n, "units")
	switch {
	case u == nil && measured(decl.Kind):
		r.atKey(n, "missing-units", fmt.Sprintf("input %s lacks the unit of its coordinates", decl.Name),
			"add units = \"mm\" (or "+strings.Join(units[1:], ", ")+"): the files do not say, and nothing is guessed")
	case u != nil && !measured(decl.Kind):
		r.atKey(u, "idle-units", fmt.Sprintf("what input %s takes has no coordinates", decl.Name), "leave units out")
	case in.Units != "" && !slices.Contains(units, in.Units):
		r.at(u, "unknown-units", fmt.Sprintf("unknown unit %q", in.Units), "coordinates may be in "+strings.Join(units, ", "))
	}
}

// braces tells {part} and {scan} in a stage that has none.
func (r *reader) braces(s *staged, f *node, glob string) {
	switch {
	case strings.Contains(glob, "{scan}") && s.Each != "scan":
		r.at(f, "no-scan", fmt.Sprintf("stage %q is not for each scan, so there is no {scan}", s.Name), `add each = "scan" to the stage, or write * for {scan}`)
	case strings.Contains(glob, "{part}") && s.Each == "":
		r.at(f, "no-part", fmt.Sprintf("stage %q is not for each part, so there is no {part}", s.Name), `add each = "part" to the stage, or write * for {part}`)
	}
}

// fromStages reads { from = "stage" }, where "stage.output" or output = "..."
// says which output is meant.
func (r *reader) fromStages(s *staged, decl step.Input, n *node, in *Input) {
	output := r.text(n, "output")
	if u := n.get("units"); u != nil {
		r.atKey(u, "idle-units", "what a stage gives has its own unit", "leave units out")
	}
	list := r.texts(n, "from")
	if len(list) == 0 && n.get("from").kind == array {
		r.at(n.get("from"), "missing-key", "the list of stages is empty", "")
	}
	for i, item := range list {
		if slices.ContainsFunc(list[:i], func(n *node) bool { return n.value == item.value }) {
			r.at(item, "named-twice", fmt.Sprintf("%q is named twice", item.value), "")
			continue
		}
		name, own := split(item.value.(string))
		if !r.stageKnown(item, s, name) {
			continue
		}
		maker := r.stage(name)
		if maker.Kind == nil || s.Kind == nil {
			continue // told already
		}
		at := item
		if own == "" && output != "" {
			at, own = n.get("output"), output
		}
		out, ok := r.output(at, maker, decl, own)
		if !ok {
			continue
		}
		in.From = append(in.From, From{name, out.Name, item.at})
		r.fanOut(item, s, maker, decl, out, len(list) > 1)
	}
}

// output picks the output of a stage that an input takes.
func (r *reader) output(n *node, maker *staged, decl step.Input, name string) (step.Output, bool) {
	var all, fits []string
	var pick step.Output
	if name == step.AccountOutput { // every stage has one
		o := step.Output{Name: name, Kind: step.Rows}
		if !suits(o.Kind, decl.Kind) {
			r.at(n, "wrong-kind", fmt.Sprintf("a stage's account is a table; input %s takes %s", decl.Name, diag.A(string(decl.Kind))), "")
			return o, false
		}
		return o, true
	}
	for _, o := range maker.book.Outputs {
		all = append(all, o.Name)
		if o.Name == name {
			if !suits(o.Kind, decl.Kind) {
				r.at(n, "wrong-kind", fmt.Sprintf("output %s of stage %q is %s; input %s takes %s", name, maker.Name, diag.A(string(o.Kind)), decl.Name, diag.A(string(decl.Kind))), "")
				return o, false
			}
			return o, true
		}
		if suits(o.Kind, decl.Kind) {
			fits = append(fits, o.Name)
			pick = o
		}
	}
	switch {
	case name != "":
		r.at(n, "unknown-output", fmt.Sprintf("stage %q (step %s) gives no %q", maker.Name, maker.Step, name), cmpHint(diag.DidYouMean(name, all), gives(all)))
	case len(fits) == 0:
		r.at(n, "wrong-kind", fmt.Sprintf("stage %q (step %s) gives no %s for input %s", maker.Name, maker.Step, decl.Kind, decl.Name), gives(all))
	case len(fits) > 1:
		r.at(n, "which-output", fmt.Sprintf("stage %q gives several things that input %s could be: %s", maker.Name, decl.Name, strings.Join(fits, ", ")), fmt.Sprintf("write from = %q, say", maker.Name+"."+fits[0]))
	default:
		return pick, true
	}
	return pick, false
}

func gives(all []string) string {
	if len(all) == 0 {
		return "the step gives no files; to wait for the stage only, write after = [...]"
	}
	return "it gives " + strings.Join(all, ", ")
}

// suits reports whether a file of one kind may go where another is taken.
func suits(given, taken step.FileKind) bool { return given == taken || taken == step.Any }

// level is how far a stage fans out.
func level(each string) int { return map[string]int{"": 0, "part": 1, "scan": 2}[each] }

// fanOut checks that what one stage makes for parts and scans is what another
// can take. What an input may go without may be made for some parts only.
func (r *reader) fanOut(item *node, s, maker *staged, decl step.Input, out step.Output, several bool) {
	gathers := level(maker.Each) > level(s.Each) && !(maker.Each == "part" && len(s.Only) == 1)
	if !decl.Many && (gathers || out.Many || several) {
		r.at(item, "too-many", fmt.Sprintf("stage %q gives several files, and input %s of stage %q takes one", maker.Name, decl.Name, s.Name), manyHint(s, maker))
		return
	}
	if maker.Each == "" || s.Each == "" && s.node.get("only") == nil || decl.Optional {
		return
	}
	for _, p := range s.Only {
		if !slices.Contains(maker.Only, p) {
			r.at(item, "part-mismatch", fmt.Sprintf("stage %q is for part %q, for which stage %q makes nothing", s.Name, p, maker.Name),
				"it makes something for "+strings.Join(maker.Only, ", ")+`: let only = [...] of both agree`)
			return
		}
	}
}

func manyHint(s, maker *staged) string {
	if level(maker.Each) > level(s.Each) {
		return fmt.Sprintf("add each = %q to stage %q", maker.Each, s.Name)
	}
	return ""
}

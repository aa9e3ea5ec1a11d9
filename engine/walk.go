package engine

import (
	"context"
	"errors"
	"fmt"
	"path"
	"slices"
	"strings"
	"sync"

	"layette/engine/recipe"
	"layette/engine/step"
	"layette/engine/store"
	"layette/engine/trail"
)

// walk is one pass over a plan: a look, or a run. Its methods may be called
// for different nodes at once, each after all that it needs.
type walk struct {
	m       *Model
	plan    *plan
	sums    *sums
	trail   *trail.Trail
	history *history
	afresh  bool

	mu     sync.Mutex
	status map[*node]*Status
}

// visit is what is known of a node before it runs.
type visit struct {
	node  *node
	st    *Status
	trace *store.Trace // nil if it must run
	final bool         // nothing is to be run or judged
	ask   bool         // it failed before under this very fingerprint
	lost  *loss        // which stored result is gone or damaged
}

// prepare says where a node stands before anything runs: it gathers the
// inputs, takes the fingerprint and looks for an equal run in the store.
func (w *walk) prepare(ctx context.Context, n *node) (*visit, error) {
	st := &Status{Node: n.Node, Step: n.stage.Step, For: n.stage.Why}
	v := &visit{node: n, st: st}
	if behind := w.blocked(n); behind != nil {
		return v.stop(Waiting, behind.says, &behind.root)
	}
	if state, says := w.gather(n, st); says != "" {
		return v.stop(state, says, nil)
	}
	if err := w.fingerprint(n, st); err != nil {
		return v.stop(Failed, err.Error(), nil)
	}
	trace, err := w.m.store.Trace(st.Key)
	switch {
	case errors.Is(err, store.ErrNoTrace):
		st.Causes = w.causes(n, st)
		return v, nil
	case err != nil:
		return nil, err
	case trace.Failure != "":
		st.Causes = []Cause{{What: FailedBefore, Says: "it failed before: " + trace.Failure}}
		st.Says, v.ask = trace.Failure, true
		return v, nil
	}
	if v.lost = w.lost(ctx, trace); v.lost != nil {
		st.Causes = []Cause{{What: StoredGone, Says: v.lost.says}}
		return v, context.Cause(ctx)
	}
	if w.afresh {
		st.Causes = []Cause{{What: Forced, Says: "everything is run afresh"}}
	}
	v.trace = trace
	return v, nil
}

func (v *visit) stop(state State, says string, behind *Node) (*visit, error) {
	v.st.State, v.st.Says, v.st.Behind, v.final = state, says, behind, true
	return v, nil
}

// block is what a waiting node waits for.
type block struct {
	root Node
	says string
}

// blocked returns what stands at the root of a node's waiting, or nil.
func (w *walk) blocked(n *node) *block {
	for _, up := range n.needs {
		st := w.of(up)
		switch {
		case st == nil || st.State == Done:
		case st.State == Waiting && st.Behind != nil:
			return &block{*st.Behind, st.Says}
		default:
			return &block{up.Node, up.Node.String() + " " + inTheWay[st.State]}
		}
	}
	return nil
}

// inTheWay says what of a stage keeps others waiting.
var inTheWay = map[State]string{
	Due: "is due", Held: "is held", Unsigned: "awaits a person's word", Handwork: "awaits handwork", Failed: "failed", Waiting: "waits",
}

func (w *walk) of(n *node) *Status {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.status[n]
}

func (w *walk) set(n *node, st *Status) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.status[n] = st
}

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

// fingerprint writes down all that the node's result depends on.
func (w *walk) fingerprint(n *node, st *Status) error {
	fp := &store.Fingerprint{Kind: n.book.Name, Version: n.book.Version}
	for _, v := range n.stage.Values {
		value, _ := v.At(w.plan.recipe, n.Part, n.Scan)
		if value == nil {
			continue // another part's or scan's alone
		}
		text, err := store.Canonical(value)
		if err != nil {
			return fmt.Errorf("value %s %w", v.Name, err)
		}
		fp.Values = append(fp.Values, store.Value{Name: v.Name, Type: string(v.Type), Text: text})
	}
	place := map[string]int{}
	for _, f := range st.Inputs {
		in := store.Input{Role: f.Role, Index: place[f.Role], SHA256: f.SHA256, Size: f.Size, Units: f.Units}
		if declared(n.book, f.Role).Named {
			in.Named, in.Name, in.Part, in.Scan, in.Stage = true, f.below(), f.part, f.scan, f.From.Stage
		}
		place[f.Role]++
		fp.Inputs = append(fp.Inputs, in)
	}
	for _, o := range n.book.Outputs {
		fp.Outputs = append(fp.Outputs, o.Name)
	}
	st.fingerprint = fp.Text()
	st.Key = store.KeyOf(st.fingerprint)
	return nil
}

// loss is a stored result that is gone or damaged.
type loss struct {
	says    string
	damaged string // digest under which it lies; empty if it is gone
}

// lost says which of a trace's files is gone or damaged, or returns nil.
func (w *walk) lost(ctx context.Context, t *store.Trace) *loss {
	for _, made := range t.Outputs {
		if made.Passed != "" {
			continue
		}
		sum, err := w.m.stamps.Sum(ctx, w.m.here(), store.ObjectName(made.SHA256), nil)
		switch {
		case err != nil:
			return &loss{says: fmt.Sprintf("the stored result %s is gone", made.Name)}
		case sum.SHA256 != made.SHA256:
			return &loss{fmt.Sprintf("the stored result %s is damaged", made.Name), made.SHA256}
		}
	}
	return nil
}

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

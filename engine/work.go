package engine

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"slices"
	"strings"
	"sync"
	"time"

	"layette/engine/step"
	"layette/engine/store"
)

// work is one stage being run: its outputs are drafts until all is well.
type work struct {
	w      *walk
	n      *node
	st     *Status
	mu     sync.Mutex
	made   []store.Made
	drafts []*store.Draft // of made, nil where an input is passed on
}

// errThrownAway means that a result could not be used because something
// changed under the stage.
var errThrownAway = errors.New("changed while the stage ran")

// execute runs a node's step and stores what it found, as a whole or not at all.
func (w *walk) execute(ctx context.Context, v *visit, workers int, progress step.Progress) (*store.Trace, error) {
	k := &work{w: w, n: v.node, st: v.st}
	defer k.drop()
	began := time.Now()
	o, err := k.run(ctx, workers, progress)
	if ctx.Err() != nil {
		return nil, context.Cause(ctx)
	}
	if err == nil {
		err = k.inputsStand(ctx)
	}
	if errors.Is(err, errThrownAway) || errors.Is(err, store.ErrChanging) {
		return nil, err
	}
	t := &store.Trace{Fingerprint: v.st.fingerprint, By: store.Provenance{
		Stage: v.node.Node.String(), When: w.m.opts.Now().UTC(), Took: time.Since(began), Tool: w.m.opts.Tool,
	}}
	if err == nil {
		err = k.finish(t, o)
	}
	if err != nil {
		t.Outputs, t.Outcome, t.Failure = nil, nil, err.Error()
		return t, errors.Join(err, w.m.store.PutTrace(t))
	}
	return t, nil
}

// run calls the step. A step that panics has a fault; it takes nothing else down.
func (k *work) run(ctx context.Context, workers int, progress step.Progress) (o *step.Outcome, err error) {
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("step %s broke down (%v): this is a fault in the step, not in your recipe", k.n.book.Name, p)
		}
	}()
	o, err = k.n.stage.Kind.Run(ctx, k.job(workers, progress))
	if err == nil && o == nil {
		o = &step.Outcome{}
	}
	return o, err
}

func (k *work) job(workers int, progress step.Progress) *step.Job {
	j := &step.Job{
		Inputs: map[string][]step.File{}, Values: step.Values{},
		Workers: workers, Progress: progress,
		Create: k.create, Pass: k.pass, Prior: k.prior, Keep: k.keep,
	}
	for _, f := range k.st.Inputs {
		j.Inputs[f.Role] = append(j.Inputs[f.Role], k.file(f))
	}
	for _, v := range k.n.stage.Values {
		if value, _ := v.At(k.w.plan.recipe, k.n.Part, k.n.Scan); value != nil {
			j.Values[v.Name] = value
		}
	}
	return j
}

// file shows a step one of its inputs.
func (k *work) file(f File) step.File {
	name := f.Name
	if declared(k.n.book, f.Role).Named {
		name = f.below()
	}
	return step.File{
		Name: name, Units: f.Units, Size: f.Size, SHA256: f.SHA256, Part: f.part, Scan: f.scan, Stage: f.From.Stage,
		Open: f.bytes.open,
	}
}

// create begins an output file.
func (k *work) create(output, name string) (io.WriteCloser, error) {
	if err := k.allowed(output, name); err != nil {
		return nil, err
	}
	d, err := k.w.m.store.Draft()
	if err != nil {
		return nil, err
	}
	k.add(store.Made{Output: output, Name: name, Units: k.units(output)}, d)
	return d, nil
}

// pass gives an input on as an output.
func (k *work) pass(output string, f step.File) error {
	if err := k.allowed(output, f.Name); err != nil {
		return err
	}
	place := map[string]int{}
	for _, in := range k.st.Inputs {
		at := place[in.Role]
		place[in.Role]++
		if in.SHA256 == f.SHA256 && in.part == f.Part && in.scan == f.Scan && in.From.Stage == f.Stage {
			k.add(store.Made{Output: output, Name: f.Name, Units: in.Units, SHA256: in.SHA256, Size: in.Size, Passed: in.Role, Place: at}, nil)
			return nil
		}
	}
	return fmt.Errorf("step %s gives on %s, which is none of its inputs", k.n.book.Name, f.Name)
}

func (k *work) add(m store.Made, d *store.Draft) {
	k.mu.Lock()
	defer k.mu.Unlock()
	k.made = append(k.made, m)
	k.drafts = append(k.drafts, d)
}

// allowed refuses outputs that the handbook does not declare and names that
// lead anywhere else.
func (k *work) allowed(output, name string) error {
	i := slices.IndexFunc(k.n.book.Outputs, func(o step.Output) bool { return o.Name == output })
	switch {
	case i < 0:
		return fmt.Errorf("step %s gives %q, which its handbook does not declare", k.n.book.Name, output)
	case !fs.ValidPath(name) || name == "." || strings.ContainsAny(name, "\\:"):
		return fmt.Errorf("step %s calls a file %q, which is no name for one", k.n.book.Name, name)
	case name == measuresFile || name == spotsFile:
		return fmt.Errorf("step %s calls a file %q, a name the engine uses", k.n.book.Name, name)
	}
	return nil
}

func (k *work) units(output string) string {
	for _, o := range k.n.book.Outputs {
		if o.Name == output && o.Kind != step.Surface && o.Kind != step.Scan {
			return ""
		} else if o.Name == output && o.Units != "" {
			return o.Units
		}
	}
	return "mm"
}

// keptKey makes a step's own key one that no other step or version can meet.
func (k *work) keptKey(key string) string {
	return fmt.Sprintf("kept %q version %d\n%s", k.n.book.Name, k.n.book.Version, key)
}

func (k *work) prior(key string) (step.Reader, bool) {
	if k.w.afresh {
		return nil, false
	}
	return k.w.m.store.Left(k.keptKey(key))
}

func (k *work) keep(key string, data []byte) error {
	return k.w.m.store.Leave(k.keptKey(key), data)
}

// inputsStand looks once more at every file of a person that the stage read.
func (k *work) inputsStand(ctx context.Context) error {
	for _, f := range k.st.Inputs {
		if !f.bytes.source {
			continue
		}
		same, err := k.w.m.stamps.Unchanged(ctx, f.bytes.place, f.bytes.name, f.bytes.sum)
		if err != nil {
			return err
		}
		if !same {
			return fmt.Errorf("%s %w: its result is thrown away; run again", f.Path, errThrownAway)
		}
	}
	return nil
}

// finish stores the outputs, then the trace that names them.
func (k *work) finish(t *store.Trace, o *step.Outcome) error {
	settled, err := settled(k.n.book, k.n.Node, o)
	if err != nil {
		return err
	}
	if t.Outcome, err = json.Marshal(settled); err != nil {
		return err
	}
	if err := k.countOutputs(); err != nil {
		return err
	}
	for i, d := range k.drafts {
		if d == nil {
			continue
		}
		if err := d.Close(); err != nil {
			return fmt.Errorf("writing %s: %w", k.made[i].Name, err)
		}
		k.made[i].SHA256, k.made[i].Size = d.SHA256(), d.Size()
		if err := k.w.m.store.Keep(d); err != nil {
			return fmt.Errorf("storing %s: %w", k.made[i].Name, err)
		}
		k.w.m.stamps.Trust(k.w.m.here(), store.ObjectName(d.SHA256()), d.SHA256(), d.SetBack())
	}
	k.sort()
	t.Outputs = k.made
	return k.w.m.store.PutTrace(t)
}

// countOutputs refuses two files where the handbook says one, and two of one name.
func (k *work) countOutputs() error {
	count, named := map[string]int{}, map[string]bool{}
	for _, m := range k.made {
		count[m.Output]++
		if m.Passed == "" && named[m.Name] {
			return fmt.Errorf("step %s gives two files called %s", k.n.book.Name, m.Name)
		}
		named[m.Name] = named[m.Name] || m.Passed == ""
	}
	for _, o := range k.n.book.Outputs {
		if count[o.Name] > 1 && !o.Many {
			return fmt.Errorf("step %s gives %d files for output %s, which is one", k.n.book.Name, count[o.Name], o.Name)
		}
	}
	return nil
}

// sort puts created files in order of output and name, whatever order several
// goroutines made them in; what is passed on keeps its order.
func (k *work) sort() {
	slices.SortStableFunc(k.made, func(a, b store.Made) int {
		if c := strings.Compare(a.Output, b.Output); c != 0 || a.Passed != "" || b.Passed != "" {
			return c
		}
		return strings.Compare(a.Name, b.Name)
	})
}

func (k *work) drop() {
	for _, d := range k.drafts {
		if d != nil {
			d.Drop()
		}
	}
}

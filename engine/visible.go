package engine

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/csv"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"path"
	"slices"

	"layette/engine/step"
	"layette/engine/store"
	"layette/engine/unit"
)

// Besides its files, a stage's visible folder holds what it found, for people
// and for other programs.
const (
	measuresFile = "measures.json"
	spotsFile    = "spots.csv"
)

// visible is what a node's folder under out/ should hold.
type visible struct {
	folder string
	want   map[string]string // by file name, SHA-256
	from   map[string]string // files below the model to copy
	data   map[string][]byte // small files, whole
}

func (w *walk) visible(n *node, st *Status) (*visible, error) {
	v := &visible{folder: n.folder(w.plan), want: map[string]string{}, from: map[string]string{}, data: map[string][]byte{}}
	for _, f := range st.Files {
		switch {
		case f.From != n.Node || f.Path != path.Join(v.folder, f.Name):
		case f.bytes.data != nil:
			v.add(f.Name, f.bytes.data)
		case f.bytes.place.Root == w.m.root:
			v.want[f.Name], v.from[f.Name] = f.SHA256, f.bytes.name
		}
	}
	if len(st.Measures) > 0 {
		data, err := json.MarshalIndent(st.Measures, "", "  ")
		if err != nil {
			return nil, err
		}
		v.add(measuresFile, append(data, '\n'))
	}
	if len(st.Spots) > 0 {
		data, err := spotsCSV(st.Spots)
		if err != nil {
			return nil, err
		}
		v.add(spotsFile, data)
	}
	return v, nil
}

func (v *visible) add(name string, data []byte) {
	sum := sha256.Sum256(data)
	v.want[name], v.data[name] = hex.EncodeToString(sum[:]), data
}

// spotsCSV is a table of spots, one a line, lengths in mm.
func spotsCSV(spots []step.Spot) ([]byte, error) {
	var b bytes.Buffer
	w := csv.NewWriter(&b)
	w.Write([]string{"number", "what", "fault", "part", "scan", "surface", "x", "y", "z", "radius", "value", "unit", "says"})
	for _, s := range spots {
		row := []string{fmt.Sprint(s.Number), s.What, fmt.Sprint(s.Fault), s.Part, s.Scan, s.Surface}
		for _, x := range []float64{s.At[0], s.At[1], s.At[2], s.Radius, s.Value} {
			row = append(row, unit.Digits(x, 0))
		}
		w.Write(append(row, s.Unit, s.Says))
	}
	w.Flush()
	return b.Bytes(), w.Error()
}

// misplaced lists the visible files that are not what they should be, in order.
func (w *walk) misplaced(ctx context.Context, v *visible) ([]string, error) {
	var list []string
	for _, name := range slices.Sorted(maps.Keys(v.want)) {
		sum, err := w.m.stamps.Sum(ctx, w.m.here(), path.Join(v.folder, name), nil)
		if ctx.Err() != nil {
			return nil, context.Cause(ctx)
		}
		if err != nil || sum.SHA256 != v.want[name] {
			list = append(list, name)
		}
	}
	return list, nil
}

// lay puts a node's visible files in their place. What a person edited there
// is set aside under another name, never overwritten.
func (w *walk) lay(ctx context.Context, n *node, st *Status) error {
	v, err := w.visible(n, st)
	if err != nil {
		return err
	}
	misplaced, err := w.misplaced(ctx, v)
	if err != nil {
		return err
	}
	was := w.history.past(n.Node).Visible
	for _, name := range misplaced {
		if err := w.setAside(ctx, v, name, was[name], st); err != nil {
			return err
		}
		if err := w.layOne(v, name); err != nil {
			return err
		}
	}
	if err := w.takeAway(ctx, v, was); err != nil {
		return err
	}
	if !maps.Equal(was, v.want) {
		w.history.laid(n.Node, v.folder, v.want)
	}
	return nil
}

func (w *walk) layOne(v *visible, name string) error {
	to := path.Join(v.folder, name)
	var setBack int64
	var err error
	if data, small := v.data[name]; small {
		setBack, err = w.m.store.LayBytes(data, to)
	} else {
		setBack, err = w.m.store.Lay(v.from[name], to)
	}
	if err != nil {
		return err
	}
	w.m.stamps.Trust(w.m.here(), to, v.want[name], setBack)
	return nil
}

// setAside renames a visible file that is neither what it should be nor what
// was laid there before: somebody changed it.
func (w *walk) setAside(ctx context.Context, v *visible, name, was string, st *Status) error {
	at := path.Join(v.folder, name)
	sum, err := w.m.stamps.Sum(ctx, w.m.here(), at, nil)
	if errors.Is(err, fs.ErrNotExist) || err == nil && w.ours(sum.SHA256, was) {
		return nil
	}
	if err != nil {
		return err
	}
	aside := path.Join(v.folder, "edited-"+sum.SHA256[:8]+"-"+path.Base(name))
	if err := w.m.root.Rename(at, aside); err != nil {
		return err
	}
	st.Asides = append(st.Asides, fmt.Sprintf("%s had been edited; the edited file is now %s. A file to be changed by hand belongs in a folder of its own, not in %s/", at, aside, outFolder))
	return nil
}

// ours reports whether content was laid there by the engine.
func (w *walk) ours(sha256, was string) bool {
	if sha256 == was {
		return true
	}
	_, err := w.m.root.Lstat(store.ObjectName(sha256))
	return err == nil
}

// takeAway removes visible files of an earlier result that this one has not.
func (w *walk) takeAway(ctx context.Context, v *visible, was map[string]string) error {
	for name, digest := range was {
		if _, wanted := v.want[name]; wanted {
			continue
		}
		if err := w.remove(ctx, path.Join(v.folder, name), digest); err != nil {
			return err
		}
	}
	return nil
}

// remove deletes a visible file if it still is as it was laid.
func (w *walk) remove(ctx context.Context, at, digest string) error {
	sum, err := w.m.stamps.Sum(ctx, w.m.here(), at, nil)
	if err != nil || sum.SHA256 != digest {
		return context.Cause(ctx) // gone, or a person's now
	}
	w.m.stamps.Forget(w.m.here(), at)
	return w.m.root.Remove(at)
}

// sweep removes the visible files of stages, parts and scans that the model
// has no more: lying in out/ they would be taken for its results. What is
// stored of them stays until it is tidied.
func (w *walk) sweep(ctx context.Context) error {
	here := map[string]bool{}
	for _, n := range w.plan.nodes {
		here[n.String()] = true
	}
	for name, p := range w.history.Nodes {
		if here[name] || len(p.Visible) == 0 {
			continue
		}
		for file, digest := range p.Visible {
			if err := w.remove(ctx, path.Join(p.Folder, file), digest); err != nil {
				return err
			}
		}
		w.m.root.Remove(p.Folder) // stays if anything else lies in it
		p.Visible, w.history.dirty = nil, true
	}
	return nil
}

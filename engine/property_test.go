package engine

import (
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// TestProperties changes a random model at random and holds the engine to its
// promises after every run:
//
//   - clean == incremental: all that is seen is what a fresh folder gives;
//   - minimal: a step runs at most once a run, never if an equal run is stored,
//     and never without a cause;
//   - idle: a second run runs nothing but what failed.
//
// Which test kills which fault, each tried once by hand ("mutants"):
//
//	the step's version is not in the fingerprint     clean == incremental
//	a value is not in the fingerprint                clean == incremental
//	all the recipe's values are in the fingerprint   TestUnusedValue
//	an upstream stage's name stands for its content  clean == incremental
//	an upstream fingerprint stands for its content   TestEarlyCutoff
//	visible results are not looked at                clean == incremental
//	one trace a stage instead of one a fingerprint   TestThereAndBack, minimal
//	objects are written in place                     TestKilled
//	the stored digest is not checked                 clean == incremental
//	no change time (ctime) in stamps                 TestTimePutBack
//	no 2 s rule                                      TestSameTick
//	inputs are not looked at again after a stage     TestInputChangesDuringStage
func TestProperties(t *testing.T) {
	if testing.Short() {
		t.Skip("takes seconds")
	}
	rapid.Check(t, func(rt *rapid.T) {
		w := &world{rt: rt, sources: map[string]string{}, versions: map[string]int{"join": 1, "length": 1}, gap: 1}
		w.f = &folder{t: t, dir: tempDir(t), opts: Options{Settle: -1, Memory: tempDir(t)}}
		defer os.RemoveAll(w.f.dir)
		defer os.RemoveAll(w.f.opts.Memory)
		for i := range 3 {
			w.sources[fmt.Sprintf("s%d.txt", i)] = "0"
		}
		w.stages = rapid.IntRange(2, 7).Draw(rt, "stages")
		w.wires = make([][]string, w.stages)
		for i := range w.stages {
			w.rewire(i)
		}
		for range rapid.IntRange(2, 5).Draw(rt, "runs") {
			w.check()
			for range rapid.IntRange(1, 2).Draw(rt, "changes") {
				w.change()
			}
		}
	})
}

func tempDir(t testing.TB) string {
	dir, err := os.MkdirTemp("", "layette")
	if err != nil {
		t.Fatal(err)
	}
	return dir
}

// world is a model that changes at random.
type world struct {
	rt       *rapid.T
	f        *folder
	sources  map[string]string
	stages   int
	wires    [][]string // what each stage takes from
	gap      int
	versions map[string]int
	stored   map[string]bool // keys of which an equal run must be stored
}

func (w *world) rewire(i int) {
	from := []string{`{ file = "s0.txt", units = "mm" }`, `{ file = "s1.txt", units = "mm" }`, `{ file = "s[12].txt", units = "mm" }`}
	for j := range i {
		from = append(from, fmt.Sprintf(`{ from = "n%d" }`, j))
	}
	w.wires[i] = []string{rapid.SampledFrom(from).Draw(w.rt, "in"), rapid.SampledFrom([]string{"join", "length"}).Draw(w.rt, "kind")}
	if i > 1 && rapid.Bool().Draw(w.rt, "two") {
		a := rapid.IntRange(0, i-2).Draw(w.rt, "a")
		w.wires[i][0] = fmt.Sprintf(`{ from = ["n%d", "n%d"] }`, rapid.IntRange(a+1, i-1).Draw(w.rt, "b"), a)
	}
}

func (w *world) recipe() string {
	var b strings.Builder
	fmt.Fprintf(&b, "[tolerances]\ngap = \"%d mm\"\n", w.gap)
	for i, wire := range w.wires {
		fmt.Fprintf(&b, "[stages.n%d]\nstep = %q\nin = %s\n", i, wire[1], wire[0])
		if i%2 == 0 {
			b.WriteString("values = { least = \"tolerances.gap\" }\n")
		}
	}
	return b.String()
}

func (w *world) write(f *folder) {
	f.write("model.toml", "format = 1\nrecipe = \"line\"\n")
	f.recipe(w.recipe())
	for name, text := range w.sources {
		f.write(name, text)
	}
}

// change does one thing that people and machines do.
func (w *world) change() {
	name := rapid.SampledFrom(slices.Sorted(maps.Keys(w.sources))).Draw(w.rt, "source")
	switch rapid.SampledFrom([]string{"edit", "edit", "value", "version", "wire", "scribble", "delete", "touch", "forget", "damage", "lose", "fail"}).Draw(w.rt, "change") {
	case "edit":
		w.sources[name] = rapid.SampledFrom([]string{"0", "1", "22", "a longer text of some length"}).Draw(w.rt, "text")
	case "fail":
		w.sources[name] = "fail"
	case "value":
		w.gap = rapid.IntRange(1, 3).Draw(w.rt, "gap")
	case "version":
		w.versions[rapid.SampledFrom([]string{"join", "length"}).Draw(w.rt, "kind")]++
	case "wire":
		w.rewire(rapid.IntRange(0, w.stages-1).Draw(w.rt, "stage"))
	case "scribble":
		w.visible(func(at string) { os.Chmod(at, 0o666); os.WriteFile(at, []byte("scribble"), 0o666) })
	case "delete":
		w.visible(func(at string) { os.Remove(at) })
	case "touch":
		w.f.write(name, w.sources[name])
	case "forget":
		os.RemoveAll(w.f.opts.Memory)
		os.Remove(filepath.Join(w.f.dir, ".layette", "history.json"))
	case "damage":
		w.object(func(at string) { os.Chmod(at, 0o666); os.WriteFile(at, []byte("damage"), 0o666) })
	case "lose":
		w.object(func(at string) { os.Remove(at) })
	}
}

func (w *world) visible(do func(at string)) { w.any("out/*/*/*", do) }

// object does something to a stored object; what it held may have to be made again.
func (w *world) object(do func(at string)) {
	w.any(".layette/objects/*/*", do)
	w.stored = map[string]bool{}
}

func (w *world) any(glob string, do func(at string)) {
	files, _ := filepath.Glob(filepath.Join(w.f.dir, glob))
	if len(files) > 0 {
		do(rapid.SampledFrom(files).Draw(w.rt, "file"))
	}
}

// check runs the model and holds the result against the promises.
func (w *world) check() {
	w.write(w.f)
	b := newBench(w.versions)
	o := RunOptions{Workers: rapid.IntRange(1, 4).Draw(w.rt, "workers")}
	board := w.f.run(b, o)
	w.minimal(board, b)
	clean := &folder{t: w.f.t, dir: tempDir(w.f.t), opts: Options{Settle: -1, Memory: "-"}}
	defer os.RemoveAll(clean.dir)
	w.write(clean)
	want := clean.run(newBench(w.versions), RunOptions{Workers: 1})
	if got, want := seen(w.rt, w.f, board), seen(w.rt, clean, want); !maps.Equal(got, want) {
		w.rt.Fatalf("not what a clean run gives:\n%v\nwant\n%v", got, want)
	}
	again := w.f.run(b, o)
	for _, st := range again.Stages {
		if st.Ran && st.State != Failed {
			w.rt.Fatalf("%s ran a second time: %v", st.Node, st.Causes)
		}
	}
}

func (w *world) minimal(board *Board, b *bench) {
	ran := 0
	if w.stored == nil {
		w.stored = map[string]bool{}
	}
	for _, st := range board.Stages {
		if st.Ran {
			ran++
			if len(st.Causes) == 0 {
				w.rt.Fatalf("%s ran without a cause", st.Node)
			}
			if w.stored[st.Key] {
				w.rt.Fatalf("%s ran although an equal run is stored: %v", st.Node, st.Causes)
			}
		}
	}
	for _, st := range board.Stages {
		if st.State == Done {
			w.stored[st.Key] = true
		}
	}
	if n := b.ran(); n > ran {
		w.rt.Fatalf("%d runs of steps, %d stages said so", n, ran)
	}
}

// seen is all that a user sees of a run, paths of the folder left out. Files
// set aside are the user's own.
func seen(rt *rapid.T, f *folder, b *Board) map[string]string {
	all := map[string]string{}
	for _, st := range b.Stages {
		all[st.Node.String()] = fmt.Sprint(st.State, st.Says, st.Measures, st.Spots, st.Notes, st.Key)
		for _, file := range st.Files {
			all[st.Node.String()+" "+file.Role+" "+file.Name] = file.SHA256
			data, err := os.ReadFile(filepath.Join(f.dir, file.Path))
			if err != nil {
				rt.Fatal(err)
			}
			all[file.Path] = string(data)
		}
	}
	return all
}

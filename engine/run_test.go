package engine

import (
	"context"
	"encoding/json"
	"errors"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"layette/engine/step"
)

// chain is three stages in a row over one file.
const chain = `
[tolerances]
gap = "1 mm"
[stages.a]
step = "join"
in = { file = "s.txt", units = "mm" }
[stages.b]
step = "length"
in = { from = "a" }
[stages.c]
step = "join"
in = { from = "b" }
values = { least = "tolerances.gap" }
`

func (b *Board) mustFind(t testing.TB, name string) *Status {
	t.Helper()
	for _, s := range b.Stages {
		if s.Node.String() == name {
			return s
		}
	}
	t.Fatalf("no stage %s on the board: %v", name, says2(b))
	return nil
}

func (b *Board) ranNames() []string {
	var names []string
	for _, s := range b.Stages {
		if s.Ran {
			names = append(names, s.Node.String())
		}
	}
	return names
}

func wantRan(t *testing.T, b *Board, names ...string) {
	t.Helper()
	if got := b.ranNames(); !slices.Equal(got, names) {
		t.Errorf("ran %v, want %v", got, names)
	}
}

func TestEarlyCutoff(t *testing.T) {
	b, f := newBench(nil), newFolder(t, chain, map[string]string{"s.txt": "one"})
	f.run(b, RunOptions{})
	f.write("s.txt", "two") // b loses all but the length
	wantRan(t, f.run(b, RunOptions{}), "a", "b")
}

func TestThereAndBack(t *testing.T) {
	b, f := newBench(nil), newFolder(t, chain, map[string]string{"s.txt": "one"})
	f.run(b, RunOptions{})
	f.write("s.txt", "another text of another length")
	wantRan(t, f.run(b, RunOptions{}), "a", "b", "c")
	f.write("s.txt", "one")
	wantRan(t, f.run(b, RunOptions{}))
}

func TestUnusedValue(t *testing.T) {
	b, f := newBench(nil), newFolder(t, two, map[string]string{"sculpt/head.stl": "one"})
	f.run(b, RunOptions{})
	f.recipe(strings.Replace(two, `unused = "1 mm"`, `unused = "7 mm"`, 1))
	wantRan(t, f.run(b, RunOptions{}))
}

// TestSameRecipeInOtherWords: comments, order, spelling of numbers and the form
// of tables decide nothing.
func TestSameRecipeInOtherWords(t *testing.T) {
	b, f := newBench(nil), newFolder(t, two, map[string]string{"sculpt/head.stl": "one"})
	f.run(b, RunOptions{})
	f.recipe(`# a comment
[stages.second]
each = "part"
step = "join"
in.from = "first"
values.least = "tolerances.gap"
gates.wide = { why = "narrow ones tear", rule = "width >= tolerances.gap" }
[stages.first]
in = { units = "mm", file = "sculpt/{part}.stl" }
each = "part"
step = "join"
[tolerances]
unused = "0.1 cm"
gap = "1.0 mm"
[parts.head]
`)
	wantRan(t, f.run(b, RunOptions{}))
}

func TestGateHoldsAndLetsGo(t *testing.T) {
	held := strings.Replace(two, "width >= tolerances.gap", "width >= 2 * tolerances.gap", 1)
	recipe := held + "[stages.third]\nstep = \"join\"\neach = \"part\"\nin = { from = \"second\" }\n"
	b, f := newBench(nil), newFolder(t, recipe, map[string]string{"sculpt/head.stl": "one"})
	board := f.run(b, RunOptions{})
	second, third := board.mustFind(t, "second/head"), board.mustFind(t, "third/head")
	if second.State != Held || !strings.Contains(second.Says, "wide") || !strings.Contains(second.Says, "1 mm") {
		t.Errorf("second is %s: %s", second.State, second.Says)
	}
	if third.State != Waiting || third.Behind == nil || third.Behind.Stage != "second" {
		t.Errorf("third is %s behind %v", third.State, third.Behind)
	}
	f.recipe(two + "[stages.third]\nstep = \"join\"\neach = \"part\"\nin = { from = \"second\" }\n")
	wantRan(t, f.run(b, RunOptions{}), "third/head") // the gate was judged anew, nothing before it ran
}

const scans = `
[parts.head]
scans = "scans/head/*.ply"
[parts.arm]
scans = "scans/arm/*.ply"
[stages.intake]
step = "join"
each = "scan"
in = { file = "{scan}", units = "mm" }
[stages.merge]
step = "join"
each = "part"
in = { from = "intake" }
[stages.kit]
step = "join"
in = { from = "merge" }
`

func TestScans(t *testing.T) {
	files := map[string]string{"scans/arm/1.ply": "arm"}
	for _, n := range []string{"1", "2", "3"} {
		files["scans/head/"+n+".ply"] = "scan " + n
	}
	b, f := newBench(nil), newFolder(t, scans, files)
	if board := f.run(b, RunOptions{}); len(board.Stages) != 7 || board.Count()[Done] != 7 {
		t.Fatalf("%v", says2(board))
	}
	if _, err := os.Stat(filepath.Join(f.dir, "out/head/intake/2/out.txt")); err != nil {
		t.Error(err)
	}
	f.write("scans/head/2.ply", "scan 2 again")
	wantRan(t, f.run(b, RunOptions{}), "intake/head/scans/head/2.ply", "merge/head", "kit")
	f.write("scans/head/4.ply", "scan 4")
	wantRan(t, f.run(b, RunOptions{}), "intake/head/scans/head/4.ply", "merge/head", "kit")
	if err := os.Rename(filepath.Join(f.dir, "scans/head/4.ply"), filepath.Join(f.dir, "scans/head/5.ply")); err != nil {
		t.Fatal(err)
	}
	wantRan(t, f.run(b, RunOptions{})) // the same bytes under another name
	f.write("out/head/intake/5/mine.txt", "a note beside it")
	os.Remove(filepath.Join(f.dir, "scans/head/5.ply"))
	if board := f.run(b, RunOptions{}); len(board.Stages) != 7 {
		t.Errorf("%d stages after a scan went, want 7", len(board.Stages))
	}
	left, _ := filepath.Glob(filepath.Join(f.dir, "out/head/intake/[45]/*"))
	if len(left) != 1 || filepath.Base(left[0]) != "mine.txt" {
		t.Errorf("of scans that are gone there is left in out/: %v", left)
	}
}

func TestFailureStopsOnlyWhatDependsOnIt(t *testing.T) {
	recipe := `
[parts.arm]
[parts.head]
[stages.a]
step = "join"
each = "part"
in = { file = "{part}.txt", units = "mm" }
[stages.b]
step = "join"
each = "part"
in = { from = "a" }
`
	b, f := newBench(nil), newFolder(t, recipe, map[string]string{"arm.txt": "fail", "head.txt": "fine"})
	board := f.run(b, RunOptions{})
	for name, want := range map[string]State{"a/arm": Failed, "b/arm": Waiting, "a/head": Done, "b/head": Done} {
		if got := board.mustFind(t, name).State; got != want {
			t.Errorf("%s is %s, want %s", name, got, want)
		}
	}
	if root := board.mustFind(t, "b/arm").Behind; root == nil || *root != (Node{Stage: "a", Part: "arm"}) {
		t.Errorf("b/arm waits behind %v", root)
	}
	if st := f.look(b).mustFind(t, "a/arm"); st.State != Failed || !strings.Contains(st.Says, "says fail") {
		t.Errorf("a look says %s: %s", st.State, st.Says)
	}
	wantRan(t, f.run(b, RunOptions{LeaveFailed: true}))
	wantRan(t, f.run(b, RunOptions{}), "a/arm")
}

func TestMissingFileIsHandwork(t *testing.T) {
	b := special("odd", pass, func(h *step.Handbook) { h.Inputs[0].Optional = false })
	f := newFolder(t, single, nil)
	st := f.run(b, RunOptions{}).mustFind(t, "a")
	if st.State != Handwork || !strings.Contains(st.Says, "s.txt") {
		t.Errorf("%s: %s", st.State, st.Says)
	}
}

// special returns a bench with one more step.
func special(name string, run func(context.Context, *step.Job) (*step.Outcome, error), book func(*step.Handbook)) *bench {
	b := newBench(nil)
	b.kinds = append(b.kinds, fake{name: name, run: run, book: book, mu: &b.mu, runs: &b.runs})
	return b
}

const single = "[stages.a]\nstep = \"odd\"\nin = { file = \"s.txt\", units = \"mm\" }\n"

func TestInputChangesDuringStage(t *testing.T) {
	var f *folder
	edit := true
	b := special("odd", func(_ context.Context, job *step.Job) (*step.Outcome, error) {
		if edit {
			f.write("s.txt", "two")
		}
		given, err := read(job)
		if err != nil {
			return nil, err
		}
		return join(job, given)
	}, nil)
	f = newFolder(t, single, map[string]string{"s.txt": "one"})
	if st := f.run(b, RunOptions{}).mustFind(t, "a"); st.State != Failed || !strings.Contains(st.Says, "run again") {
		t.Fatalf("%s: %s", st.State, st.Says)
	}
	edit = false
	if st := f.run(b, RunOptions{}).mustFind(t, "a"); st.State != Done {
		t.Fatalf("%s: %s", st.State, st.Says)
	}
	f.write("s.txt", "one")
	wantRan(t, f.run(b, RunOptions{}), "a") // nothing was stored of the mixture
}

// TestStepsFaults: whatever a step does wrong is told as its fault, and nothing
// of it is stored as a result.
func TestStepsFaults(t *testing.T) {
	tests := map[string]struct {
		run  func(context.Context, *step.Job) (*step.Outcome, error)
		want string
	}{
		"panics":            {func(context.Context, *step.Job) (*step.Outcome, error) { panic("index out of range") }, "fault in the step"},
		"undeclared output": {func(_ context.Context, j *step.Job) (*step.Outcome, error) { return nil, put(j, "map", "m", "") }, "does not declare"},
		"name leads out":    {func(_ context.Context, j *step.Job) (*step.Outcome, error) { return nil, put(j, "out", "../m", "") }, "no name"},
		"the engine's name": {func(_ context.Context, j *step.Job) (*step.Outcome, error) {
			return nil, put(j, "out", "measures.json", "")
		}, "the engine uses"},
		"two for one": {func(_ context.Context, j *step.Job) (*step.Outcome, error) {
			return nil, errors.Join(put(j, "out", "m", ""), put(j, "out", "n", ""))
		}, ""},
		"undeclared measure":  {measure("no", 1.0), "does not declare"},
		"measure of odd type": {measure("bytes", "three"), "handbook says count"},
		"list for one":        {measure("width", []float64{1}), "list"},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			b, f := special("odd", tt.run, nil), newFolder(t, single, map[string]string{"s.txt": "one"})
			st := f.run(b, RunOptions{}).mustFind(t, "a")
			if tt.want == "" { // a test of what the engine counts at the end
				return
			}
			if st.State != Failed || !strings.Contains(st.Says, tt.want) {
				t.Errorf("%s: %s; want %q", st.State, st.Says, tt.want)
			}
		})
	}
}

func measure(name string, value any) func(context.Context, *step.Job) (*step.Outcome, error) {
	return func(context.Context, *step.Job) (*step.Outcome, error) {
		return &step.Outcome{Measures: map[string]any{name: value}}, nil
	}
}

// TestUnknownMeasureHolds: a number that is not finite is unknown, and a gate
// over it holds.
func TestUnknownMeasureHolds(t *testing.T) {
	nan := 0.0
	b := special("odd", measure("width", nan/nan), nil)
	f := newFolder(t, single+"[stages.a.gates.wide]\nrule = \"not (width < 1 mm)\"\nwhy = \"x\"\n", map[string]string{"s.txt": "one"})
	m, err := Open(t.Context(), f.dir, b.kinds, f.opts)
	if err != nil {
		t.Skip("rules cannot hold quantities with units: ", err)
	}
	m.Close()
	if st := f.run(b, RunOptions{}).mustFind(t, "a"); st.State != Held {
		t.Errorf("%s: %s", st.State, st.Says)
	}
}

// TestUnknownInList: a list may hold what is unknown, and is laid out, shown and
// read again with it.
func TestUnknownInList(t *testing.T) {
	b := special("odd", measure("list", []float64{1.5, math.NaN()}), nil)
	f := newFolder(t, single, map[string]string{"s.txt": "one"})
	for range 2 {
		st := f.run(b, RunOptions{}).mustFind(t, "a")
		data, err := json.Marshal(st)
		if st.State != Done || err != nil || !strings.Contains(string(data), `[1.5,null]`) {
			t.Errorf("%s: %s; %v %s", st.State, st.Says, err, data)
		}
	}
}

func TestCancelStopsSoonAndLosesNothingDone(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	b := special("odd", func(ctx context.Context, job *step.Job) (*step.Outcome, error) {
		cancel()
		<-ctx.Done()
		return nil, context.Cause(ctx)
	}, nil)
	f := newFolder(t, chain+strings.Replace(single, "stages.a", "stages.d", 1)+"after = [\"c\"]\n", map[string]string{"s.txt": "one"})
	m := f.open(b)
	began := time.Now()
	_, err := m.Run(ctx, RunOptions{}, nil)
	if !errors.Is(err, context.Canceled) {
		t.Fatalf("err = %v", err)
	}
	if took := time.Since(began); took > 5*time.Second {
		t.Errorf("took %s", took)
	}
	m.Close()
	board := f.look(b)
	if board.Count()[Done] != 3 || board.mustFind(t, "d").State != Due {
		t.Errorf("%v", says2(board))
	}
}

// TestOrderAndMemory: of what is ready the longest way goes first, and the
// memory of running steps stays below the limit unless one runs alone.
func TestOrderAndMemory(t *testing.T) {
	var mu sync.Mutex
	running, most := 0, 0
	b := special("odd", func(_ context.Context, job *step.Job) (*step.Outcome, error) {
		mu.Lock()
		running++
		most = max(most, running)
		mu.Unlock()
		time.Sleep(5 * time.Millisecond)
		mu.Lock()
		running--
		mu.Unlock()
		given, err := read(job)
		if err != nil {
			return nil, err
		}
		return join(job, given)
	}, func(h *step.Handbook) { h.Memory = 10 })
	var recipe strings.Builder
	for _, n := range []string{"a", "b", "c", "d", "e", "f"} {
		recipe.WriteString(strings.Replace(single, "stages.a", "stages."+n, 1) + "values = { text = \"" + n + "\" }\n")
	}
	recipe.WriteString("[stages.y]\nstep = \"join\"\nin = { from = \"f\" }\n[stages.z]\nstep = \"join\"\nin = { from = \"y\" }\n")
	f := newFolder(t, recipe.String(), map[string]string{"s.txt": strings.Repeat("x", 100)})
	f.run(b, RunOptions{Workers: 4, Memory: 2500}) // each needs 1,000
	if most != 2 {
		t.Errorf("%d ran at once, want 2", most)
	}
	if !strings.Contains(b.runs[0]+b.runs[1], "text:f") {
		t.Errorf("first ran %q and %q, want f, which has the longest way ahead", b.runs[0], b.runs[1])
	}
}

func TestAfresh(t *testing.T) {
	n := 0
	b := special("odd", func(_ context.Context, job *step.Job) (*step.Outcome, error) {
		n++
		return join(job, strings.Repeat("x", n))
	}, nil)
	f := newFolder(t, chain+strings.Replace(single, "stages.a", "stages.d", 1), map[string]string{"s.txt": "one"})
	f.run(b, RunOptions{})
	b.ran()
	board := f.run(b, RunOptions{Afresh: true})
	if got := b.ran(); got != 4 {
		t.Errorf("%d ran, want 4", got)
	}
	if st := board.mustFind(t, "d"); st.State != Failed || !strings.Contains(st.Says, "not the same twice: output out") {
		t.Errorf("d is %s: %s", st.State, st.Says)
	}
	for _, name := range []string{"a", "b", "c"} {
		if st := board.mustFind(t, name); st.State != Done || st.Causes[0].What != Forced {
			t.Errorf("%s is %s: %s %v", name, st.State, st.Says, st.Causes)
		}
	}
	if st := f.look(b).mustFind(t, "d"); st.State != Done {
		t.Errorf("afterwards d is %s: %s", st.State, st.Says)
	}
}

// TestEditedResultIsSetAside: a person's edit in out/ survives.
func TestEditedResultIsSetAside(t *testing.T) {
	b, f := newBench(nil), newFolder(t, chain, map[string]string{"s.txt": "one"})
	f.run(b, RunOptions{})
	at := filepath.Join(f.dir, "out/kit/a/out.txt")
	os.Chmod(at, 0o666)
	f.write("out/kit/a/out.txt", "mine")
	if st := f.look(b).mustFind(t, "a"); len(st.Causes) != 1 || st.Causes[0].What != VisibleGone {
		t.Errorf("a look says %v", st.Causes)
	}
	board := f.run(b, RunOptions{})
	if b.ran() != 3 || len(board.mustFind(t, "a").Asides) != 1 {
		t.Errorf("asides %v", board.mustFind(t, "a").Asides)
	}
	kept, _ := filepath.Glob(filepath.Join(f.dir, "out/kit/a/edited-*-out.txt"))
	if len(kept) != 1 {
		t.Fatal("the edited file is gone")
	}
	if data, _ := os.ReadFile(kept[0]); string(data) != "mine" {
		t.Errorf("the edited file holds %q", data)
	}
	if data, _ := os.ReadFile(at); string(data) == "mine" {
		t.Error("the result was not laid out again")
	}
}

func TestUnfinishedFileDoesNotCount(t *testing.T) {
	b, f := newBench(nil), newFolder(t, chain, map[string]string{"s.txt": "one"})
	f.opts.Settle = 50 * time.Millisecond
	m := f.open(b)
	go func() {
		time.Sleep(20 * time.Millisecond)
		os.WriteFile(filepath.Join(f.dir, "s.txt"), []byte("one and more"), 0o666)
	}()
	board, err := m.Run(t.Context(), RunOptions{}, nil)
	if err != nil {
		t.Fatal(err)
	}
	if st := board.mustFind(t, "a"); st.State != Failed || !strings.Contains(st.Says, "still being written") {
		t.Errorf("%s: %s", st.State, st.Says)
	}
}

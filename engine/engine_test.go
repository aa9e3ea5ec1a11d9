package engine

import (
	"os"
	"path/filepath"
	"testing"
	"time"
)

// folder is a model's folder in a test.
type folder struct {
	t    testing.TB
	dir  string
	opts Options
}

// newFolder makes a model's folder with a recipe and files by path.
func newFolder(t testing.TB, recipe string, files map[string]string) *folder {
	t.Helper()
	f := &folder{t: t, dir: t.TempDir(), opts: Options{Settle: -1, Memory: filepath.Join(t.TempDir(), "memory")}}
	f.write("model.toml", "format = 1\nrecipe = \"line\"\n")
	f.recipe(recipe)
	for name, text := range files {
		f.write(name, text)
	}
	return f
}

func (f *folder) recipe(text string) {
	f.write("recipes/line.toml", "format = 1\ntitle = \"A line\"\n"+text)
}

// write puts a file there as an editor would, in its own time.
func (f *folder) write(name, text string) {
	f.t.Helper()
	at := filepath.Join(f.dir, filepath.FromSlash(name))
	if err := os.MkdirAll(filepath.Dir(at), 0o777); err != nil {
		f.t.Fatal(err)
	}
	if err := os.WriteFile(at, []byte(text), 0o666); err != nil {
		f.t.Fatal(err)
	}
}

func (f *folder) open(b *bench) *Model {
	f.t.Helper()
	m, err := Open(f.t.Context(), f.dir, b.kinds, f.opts)
	if err != nil {
		f.t.Fatal(err)
	}
	f.t.Cleanup(func() { m.Close() })
	return m
}

// run opens the model, runs it and closes it, as a command does.
func (f *folder) run(b *bench, o RunOptions) *Board {
	f.t.Helper()
	m := f.open(b)
	defer m.Close()
	board, err := m.Run(f.t.Context(), o, nil)
	if err != nil {
		f.t.Fatal(err)
	}
	return board
}

func (f *folder) look(b *bench) *Board {
	f.t.Helper()
	m := f.open(b)
	defer m.Close()
	board, err := m.Look(f.t.Context())
	if err != nil {
		f.t.Fatal(err)
	}
	return board
}

const two = `
[parts.head]
[tolerances]
gap = "1 mm"
unused = "1 mm"
[stages.first]
step = "join"
each = "part"
in = { file = "sculpt/{part}.stl", units = "mm" }
[stages.second]
step = "join"
each = "part"
in = { from = "first" }
values = { least = "tolerances.gap" }
[stages.second.gates.wide]
rule = "width >= tolerances.gap"
why = "narrow ones tear"
`

func TestFirstAndIdleRun(t *testing.T) {
	b := newBench(nil)
	f := newFolder(t, two, map[string]string{"sculpt/head.stl": "one"})
	board := f.run(b, RunOptions{})
	if n := b.ran(); n != 2 || board.Count()[Done] != 2 {
		t.Fatalf("%d ran; %v", n, says2(board))
	}
	if f.run(b, RunOptions{}); b.ran() != 0 {
		t.Error("the second run ran something")
	}
	_ = time.Now
}

func says2(b *Board) (list []string) {
	for _, s := range b.Stages {
		list = append(list, s.Node.String()+" "+string(s.State)+" "+s.Says)
	}
	return list
}

// TestMain puts folders of tests where forcing bytes to disk costs nothing, if
// there is such a place.
func TestMain(m *testing.M) {
	if os.Getenv("LAYETTE_TEST_RUN") != "" { // may be killed, and leaves nothing behind
		os.Exit(m.Run())
	}
	if dir, err := os.MkdirTemp("/dev/shm", "layette"); err == nil {
		os.Setenv("TMPDIR", dir)
		code := m.Run()
		os.RemoveAll(dir)
		os.Exit(code)
	}
	os.Exit(m.Run())
}

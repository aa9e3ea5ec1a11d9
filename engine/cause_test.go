package engine

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"layette/engine/store"
)

const caused = `
[tolerances]
gap = "1 mm"
[stages.a]
step = "join"
in = { file = "in*.txt", units = "mm" }
named = { file = "named*.txt" }
values = { least = "tolerances.gap" }
[stages.b]
step = "join"
in = { from = "a" }
`

// TestCauses does one thing after another and reads why stage a is due, and in
// what words.
func TestCauses(t *testing.T) {
	tests := []struct {
		name string
		do   func(f *folder, versions map[string]int)
		what string
		says string
	}{
		{"edit", func(f *folder, _ map[string]int) { f.write("in1.txt", "edited") }, store.InputChanged, "in1.txt edited"},
		{"add", func(f *folder, _ map[string]int) { f.write("in3.txt", "three") }, store.InputAdded, "in3.txt was added"},
		{"remove", func(f *folder, _ map[string]int) { os.Remove(filepath.Join(f.dir, "in2.txt")) }, store.InputRemoved, "was removed"},
		{"swap", func(f *folder, _ map[string]int) { f.write("in1.txt", "two"); f.write("in2.txt", "one") }, store.InputReordered, "another order"},
		{"rename", func(f *folder, _ map[string]int) {
			os.Rename(filepath.Join(f.dir, "named1.txt"), filepath.Join(f.dir, "named2.txt"))
		}, store.InputRenamed, "was called named1.txt"},
		{"units", func(f *folder, _ map[string]int) { f.recipe(strings.Replace(caused, `"mm" }`, `"cm" }`, 1)) }, store.InputChanged, "mm -> cm"},
		{"value", func(f *folder, _ map[string]int) { f.recipe(strings.Replace(caused, "1 mm", "1.5 mm", 1)) }, store.ValueChanged,
			"value least (tolerances.gap): 1 mm -> 1.5 mm (recipes/line.toml:5:7)"},
		{"new value", func(f *folder, _ map[string]int) {
			f.recipe(strings.Replace(caused, "values = { ", `values = { extra = "2 mm", `, 1))
		}, store.ValueNew, "value extra is new: 2 mm (recipes/line.toml:10:"},
		{"version", func(_ *folder, v map[string]int) { v["join"] = 2 }, store.VersionChanged, "step join is version 2 and was 1"},
		{"kind", func(f *folder, _ map[string]int) {
			f.recipe(strings.Replace(caused, `"join"`, `"length"`, 1))
		}, store.KindChanged, "the step is length and was join (recipes/line.toml:"},
		{"lost", func(f *folder, _ map[string]int) { os.RemoveAll(filepath.Join(f.dir, ".layette/objects")) }, StoredGone, "is gone"},
		{"damaged", func(f *folder, _ map[string]int) {
			objects, _ := filepath.Glob(filepath.Join(f.dir, ".layette/objects/*/*"))
			for _, at := range objects {
				os.Chmod(at, 0o666)
				os.WriteFile(at, []byte("damage"), 0o666)
			}
		}, StoredGone, "is damaged"},
		{"visible", func(f *folder, _ map[string]int) { os.RemoveAll(filepath.Join(f.dir, "out")) }, VisibleGone, "edited or deleted"},
		{"all forgotten", func(f *folder, _ map[string]int) { os.RemoveAll(filepath.Join(f.dir, ".layette")) }, NeverRun, "never ran"},
		{"failed", func(f *folder, _ map[string]int) { f.write("in1.txt", "fail"); f.run(newBench(nil), RunOptions{}) }, FailedBefore, "says fail"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			f := newFolder(t, caused, map[string]string{"in1.txt": "one", "in2.txt": "two", "named1.txt": "name"})
			f.run(newBench(nil), RunOptions{})
			versions := map[string]int{}
			tt.do(f, versions)
			st := f.look(newBench(versions)).mustFind(t, "a")
			if len(st.Causes) == 0 || st.Causes[0].What != tt.what || !strings.Contains(st.Causes[0].Says, tt.says) {
				t.Errorf("%s %s %+v; want %s, %q", st.State, st.Says, st.Causes, tt.what, tt.says)
			}
		})
	}
	t.Run("after a failure", func(t *testing.T) {
		f := newFolder(t, caused, map[string]string{"in1.txt": "fail"})
		f.run(newBench(nil), RunOptions{})
		f.write("in1.txt", "mended")
		st := f.look(newBench(nil)).mustFind(t, "a")
		if len(st.Causes) != 2 || st.Causes[0].What != store.InputChanged || st.Causes[1].What != FailedBefore || !strings.Contains(st.Causes[1].Says, "says fail") {
			t.Errorf("%+v", st.Causes)
		}
	})
	t.Run("value gone", func(t *testing.T) {
		more := strings.Replace(caused, "values = { ", `values = { extra = "2 mm", `, 1)
		f := newFolder(t, more, map[string]string{"in1.txt": "one"})
		f.run(newBench(nil), RunOptions{})
		f.recipe(caused)
		if st := f.look(newBench(nil)).mustFind(t, "a"); st.Causes[0].What != store.ValueGone || !strings.Contains(st.Causes[0].Says, "extra is gone; it was 2 mm") {
			t.Errorf("%+v", st.Causes)
		}
	})
}

// TestWhyFollowsTheChain: what comes after tells the first cause with its place.
func TestWhyFollowsTheChain(t *testing.T) {
	b, f := newBench(nil), newFolder(t, caused, map[string]string{"in1.txt": "one"})
	f.run(b, RunOptions{})
	f.recipe(strings.Replace(caused, "1 mm", "1.5 mm", 1))
	f.run(b, RunOptions{})
	m := f.open(b)
	r, err := m.Why(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	lines := strings.Join(r.Of(r.Board.mustFind(t, "b")), "\n")
	for _, want := range []string{"because a ran", "value least (tolerances.gap): 1 mm -> 1.5 mm (recipes/line.toml:5:7)"} {
		if !strings.Contains(lines, want) {
			t.Errorf("%s\nwant %q", lines, want)
		}
	}
	if text := r.Fingerprint(r.Board.mustFind(t, "a")); !strings.Contains(text, `value "least" length 1.5`) {
		t.Errorf("fingerprint is\n%s", text)
	}
}

// TestWhyNot: a value that a stage does not use is named as such.
func TestWhyNot(t *testing.T) {
	b, f := newBench(nil), newFolder(t, two, map[string]string{"sculpt/head.stl": "one"})
	f.run(b, RunOptions{})
	f.recipe(strings.Replace(two, `unused = "1 mm"`, `unused = "7 mm"`, 1))
	r, err := f.open(b).Why(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	lines := strings.Join(r.Of(r.Board.mustFind(t, "first/head")), "\n")
	if !strings.Contains(lines, "tolerances.unused changed: 1 mm -> 7 mm (recipes/line.toml:7:10), but this stage does not use it") {
		t.Error(lines)
	}
}

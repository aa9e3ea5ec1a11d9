package engine

import (
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"layette/engine/step"
)

const backup = `
[stages.copies]
step = "odd"
in = { file = "s.txt", units = "mm" }
named = { file = "**", folder = "second" }
`

// TestFolderOutside: a folder that the model sheet names is read, its files are
// called by their path below it, and when the disk is away the stage says so.
func TestFolderOutside(t *testing.T) {
	var names []string
	b := special("odd", func(_ context.Context, job *step.Job) (*step.Outcome, error) {
		for _, f := range job.Inputs["named"] {
			names = append(names, f.Name)
		}
		return join(job, "x")
	}, nil)
	f := newFolder(t, backup, map[string]string{"s.txt": "one"})
	disk := filepath.Join(t.TempDir(), "disk")
	f.write("model.toml", "format = 1\nrecipe = \"line\"\n[folders.second]\npath = \""+disk+"\"\n")
	if st := f.run(b, RunOptions{}).mustFind(t, "copies"); st.State != Handwork || !strings.Contains(st.Says, "is not there today") {
		t.Fatalf("%s: %s", st.State, st.Says)
	}
	other := &folder{t: t, dir: disk}
	other.write("scans/head/1.ply", "one")
	other.write("s.txt", "one")
	if st := f.run(b, RunOptions{}).mustFind(t, "copies"); st.State != Done {
		t.Fatalf("%s: %s", st.State, st.Says)
	}
	if got := strings.Join(names, " "); got != "s.txt scans/head/1.ply" {
		t.Errorf("called %s", got)
	}
	moved := disk + "-2" // mounted elsewhere: nothing to do
	if err := os.Rename(disk, moved); err != nil {
		t.Fatal(err)
	}
	f.write("model.toml", "format = 1\nrecipe = \"line\"\n[folders.second]\npath = \""+moved+"\"\n")
	wantRan(t, f.run(b, RunOptions{}))
}

// TestNothingLeadsOut: neither a link nor a name brings a file from outside.
func TestNothingLeadsOut(t *testing.T) {
	b, f := newBench(nil), newFolder(t, chain, nil)
	secret := filepath.Join(t.TempDir(), "secret.txt")
	os.WriteFile(secret, []byte("secret"), 0o666)
	if err := os.Symlink(secret, filepath.Join(f.dir, "s.txt")); err != nil {
		t.Skip(err)
	}
	st := f.run(b, RunOptions{}).mustFind(t, "a")
	if st.State != Failed || !strings.Contains(st.Says, "escapes") {
		t.Errorf("%s: %s", st.State, st.Says)
	}
}

package engine

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// big is a model of 2,000 files and 150 stages: five parts with 396 scans and
// four hand-made files each, merged and looked at in chains of checks.
func big(t testing.TB) (*folder, *bench) {
	var r strings.Builder
	files := map[string]string{}
	for p := range 5 {
		fmt.Fprintf(&r, "[parts.p%d]\n", p)
		for s := range 396 {
			files[fmt.Sprintf("scans/p%d/%03d.ply", p, s)] = fmt.Sprintf("scan %d of %d", s, p)
		}
		for s := range 4 {
			files[fmt.Sprintf("hand/p%d-%d.stl", p, s)] = fmt.Sprint(p, s)
		}
	}
	r.WriteString("[tolerances]\ngap = \"1 mm\"\n[stages.merge]\nstep = \"join\"\neach = \"part\"\nin = { file = \"scans/{part}/*.ply\", units = \"mm\" }\n")
	for c := range 29 {
		in := fmt.Sprintf(`{ file = "hand/{part}-%d.stl", units = "mm" }`, c%4)
		if c > 3 {
			in = fmt.Sprintf(`{ from = "check%d" }`, c-4)
		}
		if c == 20 {
			in = `{ from = "merge" }`
		}
		fmt.Fprintf(&r, "[stages.check%d]\nstep = \"join\"\neach = \"part\"\nin = %s\nvalues = { least = \"tolerances.gap\" }\n", c, in)
		fmt.Fprintf(&r, "[stages.check%d.gates.wide]\nrule = \"width >= tolerances.gap\"\nwhy = \"narrow ones tear\"\n", c)
	}
	f := newFolder(t, r.String(), files)
	for name := range files { // no editor wrote them this second
		if err := os.Chtimes(filepath.Join(f.dir, name), time.Time{}, time.Now().Add(-time.Hour)); err != nil {
			t.Fatal(err)
		}
	}
	return f, newBench(nil)
}

func TestNothingToDoIsNothing(t *testing.T) {
	f, b := big(t)
	if board := f.run(b, RunOptions{}); len(board.Stages) != 150 || board.Count()[Done] != 150 {
		t.Fatalf("%d stages: %v", len(board.Stages), board.Count())
	}
	b.ran()
	f.run(b, RunOptions{})
	if n := b.ran(); n != 0 {
		t.Errorf("%d steps ran", n)
	}
}

// BenchmarkNothingToDo opens, runs and closes a model of 2,000 files and 150
// stages in which nothing is due. The goal is under 100 ms.
func BenchmarkNothingToDo(b *testing.B) {
	f, kinds := big(b)
	f.run(kinds, RunOptions{})
	b.ReportAllocs()
	for b.Loop() {
		f.run(kinds, RunOptions{})
	}
	b.ReportMetric(float64(b.Elapsed().Milliseconds())/float64(b.N), "ms/run")
}

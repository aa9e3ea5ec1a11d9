package align

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"
	"testing"

	"layette/engine/step"
	"layette/steps/internal/draw"
	"layette/steps/internal/geom"
	"layette/steps/internal/poses"
	"layette/steps/internal/steptest"
	"layette/steps/specimen"
)

// TestMain draws small pictures: at their usual size they are a third of the
// tests' time.
func TestMain(m *testing.M) {
	pictureSize = draw.Size{Width: 480, Height: 360}
	m.Run()
}

// left is what the runs of these tests keep for each other, which saves half
// their time: many are about the same shots. TestKeptWork shows that it changes
// nothing.
var left = steptest.Kept{}

// run aligns files and returns the result.
func run(t testing.TB, files []step.File, values step.Values) *steptest.Result {
	t.Helper()
	return steptest.Run(t, Kind{}, steptest.Given{Inputs: map[string][]step.File{"scans": files}, Values: values, Kept: left})
}

// runAnew does so without what other runs kept.
func runAnew(t testing.TB, files []step.File, workers int) *steptest.Result {
	t.Helper()
	return steptest.Run(t, Kind{}, steptest.Given{Inputs: map[string][]step.File{"scans": files}, Workers: workers})
}

func filesOf(t testing.TB, shots []shot) []step.File {
	t.Helper()
	var files []step.File
	for _, s := range shots {
		files = append(files, plyOf(t, s.name, s.mesh))
	}
	return files
}

// TestOrderDoesNotMatter: the same bytes come out whatever the order of the
// files and the number of workers.
func TestOrderDoesNotMatter(t *testing.T) {
	files := filesOf(t, handShots(t))
	first := runAnew(t, files, 1)
	turned := slices.Clone(files)
	slices.Reverse(turned)
	second := runAnew(t, turned, 3)
	for _, name := range first.Order {
		if !bytes.Equal(first.Files[name], second.Files[name]) {
			t.Errorf("%s differs", name)
		}
	}
}

// TestCleanShots: noise-free shots are placed as exactly as thinning
// allows, a copy is named, and the loops close.
func TestCleanShots(t *testing.T) {
	shots := sitting(t, "right-hand", specimen.Options{}, specimen.Session{
		Scanner: specimen.Scanner{Pitch: 0.5, Clean: true}, Shots: 9, Seed: 3,
	})
	res, truth := tossed(t, shots, 2)
	f := posesOf(t, res)
	deg, mm, placed := farthest(t, f, truth, shots)
	if len(placed) < 5 || deg > 0.15 || mm > 0.05 {
		t.Errorf("%d placed, worst %.4f degrees and %.4f mm", len(placed), deg, mm)
	}
	if loop := res.Measures["loop.worst"].(float64); loop > 0.1 {
		t.Errorf("loops close to %.3f mm", loop)
	}
	t.Logf("%d placed, worst %.4f degrees and %.4f mm, %v", len(placed), deg, mm, res.Measures)
}

// TestExactCopies: the same points turned and moved come back exactly, to the
// rounding of float32 and of the cubes they are thinned in.
func TestExactCopies(t *testing.T) {
	base := handShots(t)[0]
	shots := []shot{base, base, base}
	for k := range shots {
		shots[k].name = string(rune('a' + k))
	}
	res, truth := tossed(t, shots, 4)
	deg, mm, placed := farthest(t, posesOf(t, res), truth, shots)
	if len(placed) != 3 || deg > 0.05 || mm > 0.02 {
		t.Errorf("%d placed, worst %.4f degrees and %.4f mm\n%v", len(placed), deg, mm, res.Notes)
	}
	t.Logf("worst %.4f degrees and %.4f mm", deg, mm)
}

// TestSameFileTwice: byte for byte copies are not placed twice.
func TestSameFileTwice(t *testing.T) {
	shots := handShots(t)
	again := shots[4]
	again.name = "zz-again"
	res := run(t, filesOf(t, append(shots, again)), nil)
	row := rowOf(posesOf(t, res), "zz-again")
	if row.Placed || !strings.Contains(row.Why, "same file as "+shots[4].name) || res.Measures["copies"] != int64(1) {
		t.Errorf("the copy: placed %v, %q, copies %v", row.Placed, row.Why, res.Measures["copies"])
	}
}

// TestPins: a shot that nothing would place lies exactly where its pins have
// it, and wins over what speaks against it.
func TestPins(t *testing.T) {
	shots := handShots(t)
	lost := shot{name: "lost", mesh: dome(60, 40, 60)}
	want := geom.Pose{Rot: geom.SmallTurn(geom.Vec{X: 0.3, Y: -0.2, Z: 0.9}), Move: geom.Vec{X: 5, Y: 6, Z: 200}}
	here := []geom.Vec{{X: 1}, {Y: 20}, {X: -5, Z: 3}, {X: 9, Y: 9, Z: 9}}
	row := step.Table{Names: []string{"onto", "here", "there"}, Values: []any{shots[1].name, flat(here, geom.NoMove), flat(here, want)}}
	pins := step.Table{Names: []string{"lost"}, Values: []any{row}}
	files := filesOf(t, append(slices.Clone(shots), lost))
	f := posesOf(t, run(t, files, step.Values{"pins": pins}))
	a, b := rowOf(f, "lost"), rowOf(f, shots[1].name)
	if !a.Placed || !b.Placed {
		t.Fatalf("placed %v and %v: %s%s", a.Placed, b.Placed, a.Why, b.Why)
	}
	got := a.pose().Then(b.pose().Inverse())
	if d, m := apartPose(got, want, geom.Vec{}); d > 1e-5 || m > 1e-5 {
		t.Errorf("pinned to within %g degrees and %g mm, want exactly", d, m)
	}
}

func flat(pts []geom.Vec, p geom.Pose) []float64 {
	var x []float64
	for _, v := range pts {
		v = p.Apply(v)
		x = append(x, v.X, v.Y, v.Z)
	}
	return x
}

// TestWrongPins: each contradiction in words.
func TestWrongPins(t *testing.T) {
	shots := handShots(t)[:3]
	a, b, c := shots[0].name, shots[1].name, shots[2].name
	pts := []geom.Vec{{}, {X: 30}, {Y: 30}}
	apart := geom.Pose{Rot: geom.Identity, Move: geom.Vec{X: 9}}
	pin := func(onto string, here, there []float64) step.Table {
		return step.Table{Names: []string{"onto", "here", "there"}, Values: []any{onto, here, there}}
	}
	ok := flat(pts, geom.NoMove)
	tests := []struct {
		name string
		pins step.Table
		want string
	}{
		{"two points", step.Table{Names: []string{a}, Values: []any{pin(b, ok[:6], ok[:6])}}, "three or more"},
		{"uneven", step.Table{Names: []string{a}, Values: []any{pin(b, ok, ok[:8])}}, "whole points"},
		{"on a line", step.Table{Names: []string{a}, Values: []any{pin(b, []float64{0, 0, 0, 1, 0, 0, 2, 0, 0}, []float64{0, 0, 0, 1, 0, 0, 2, 0, 0})}}, "on one line"},
		{"unlike", step.Table{Names: []string{a}, Values: []any{pin(b, ok, []float64{0, 0, 0, 50, 0, 0, 0, 30, 0})}}, "contradict each other"},
		{"nobody", step.Table{Names: []string{"nobody"}, Values: []any{pin(b, ok, ok)}}, "not among the scans"},
		{"itself", step.Table{Names: []string{a}, Values: []any{pin(a, ok, ok)}}, "onto itself"},
		{"round a loop", step.Table{Names: []string{a, b, c}, Values: []any{pin(b, ok, ok), pin(c, ok, ok), pin(a, ok, flat(pts, apart))}}, "contradict each other by"},
	}
	files := filesOf(t, shots)
	for _, tt := range tests {
		_, err := steptest.Try(t, Kind{}, steptest.Given{Inputs: map[string][]step.File{"scans": files}, Values: step.Values{"pins": tt.pins}})
		if err == nil || !strings.Contains(err.Error(), tt.want) {
			t.Errorf("%s: %v; want %q", tt.name, err, tt.want)
		}
	}
}

// TestKeptWork: a second run takes what the first left and changes nothing;
// with one scan more only that one's pairs are compared.
func TestKeptWork(t *testing.T) {
	files := filesOf(t, handShots(t)[:7])
	kept := steptest.Kept{}
	fresh := func(before steptest.Kept) int {
		n := 0
		for key, data := range kept {
			if !bytes.Equal(before[key], data) {
				n++
			}
		}
		return n
	}
	result := func(files []step.File) string {
		return bytesOf(steptest.Run(t, Kind{}, steptest.Given{Inputs: map[string][]step.File{"scans": files}, Kept: kept}))
	}
	few := result(files[1:])
	before := maps.Clone(kept)
	first := result(files)
	if n := fresh(before); n != 3 || len(kept) != 3*len(files) {
		t.Errorf("one scan more: %d things are new of %d, want its size, its points and its pairs", n, len(kept))
	}
	before = maps.Clone(kept)
	if again := result(files); again != first || fresh(before) != 0 {
		t.Errorf("the second run made %d things anew; same bytes: %v", fresh(before), again == first)
	}
	if again := result(files[1:]); again != few || fresh(before) != 0 {
		t.Errorf("one scan less: %d things made anew; same bytes: %v", fresh(before), again == few)
	}
	kept = kept.Damaged() // what is damaged is made again
	if result(files) != first {
		t.Error("damaged leftovers changed the result")
	}
	if bytesOf(runAnew(t, files, 2)) != first {
		t.Error("without leftovers another result")
	}
	kept = steptest.Kept{} // one scan replaced: out goes the second, in comes the first
	result(files[1:])
	swapped := append(slices.Clone(files[2:]), files[0])
	if after := result(swapped); after != bytesOf(runAnew(t, swapped, 1)) {
		t.Error("one scan replaced: over leftovers another result than anew")
	}
}

// bytesOf is all that a run wrote, pictures too.
func bytesOf(res *steptest.Result) string {
	var b strings.Builder
	for _, name := range slices.Sorted(maps.Keys(res.Files)) {
		fmt.Fprintf(&b, "%s %d\n%s\n", name, len(res.Files[name]), res.Files[name])
	}
	return b.String()
}

type nopCloser struct{ io.Writer }

func (nopCloser) Close() error { return nil }

// TestCancelled: the step stops with the cause.
func TestCancelled(t *testing.T) {
	stop := errors.New("enough")
	for _, after := range []int{0, 3, 8, 12} {
		ctx, cancel := context.WithCancelCause(t.Context())
		job := &step.Job{Inputs: map[string][]step.File{"scans": filesOf(t, handShots(t)[:5])}, Values: steptest.Values(t, Kind{}.Handbook(), nil), Workers: 2}
		job.Progress = &fuse{n: after, cancel: func() { cancel(stop) }}
		job.Create = func(string, string) (io.WriteCloser, error) { return nopCloser{io.Discard}, nil }
		_, err := Kind{}.Run(ctx, job)
		if !errors.Is(err, stop) {
			t.Errorf("after %d: %v, want the cause", after, err)
		}
		cancel(nil)
	}
}

// fuse cancels after n units of progress.
type fuse struct {
	n      int
	cancel func()
}

func (f *fuse) Start(string, int) {
	if f.n == 0 {
		f.cancel()
	}
}

func (f *fuse) Add(k int) {
	if f.n -= k; f.n == 0 {
		f.cancel()
	}
}

// TestNothing: no scans at all is an error that says so.
func TestNothing(t *testing.T) {
	_, err := steptest.Try(t, Kind{}, steptest.Given{Inputs: map[string][]step.File{}})
	if err == nil || !strings.Contains(err.Error(), "no scans") {
		t.Errorf("%v", err)
	}
}

// TestOutcomeIsPinned: if this fails, results changed; raise the handbook's
// Version in the same commit and pin the new outcome. The table is read back
// as merge reads it.
func TestOutcomeIsPinned(t *testing.T) {
	res := run(t, filesOf(t, handShots(t)), nil)
	table, err := poses.Read(bytes.NewReader(res.Files["poses/poses.json"]))
	if err != nil || len(table.Scans) != len(handShots(t)) {
		t.Fatalf("%d places, %v", len(table.Scans), err)
	}
	tableHolds(t, table, string(res.Files["pairs/pairs.csv"]), string(res.Files["table/table.csv"]))
	sum := sha256.Sum256(res.Files["poses/poses.json"])
	const want = "81d27e21dccfa292"
	if got := hex.EncodeToString(sum[:8]); got != want || (Kind{}).Handbook().Version != 14 {
		t.Errorf("outcome %s of version %d; pinned is %s of version 14\n%s", got, Kind{}.Handbook().Version, want, res.Files["pairs/pairs.csv"])
	}
}

// tableHolds checks the table of scans against what is told elsewhere: a line
// a scan, and of each placed one the greatest overlap of its pairs.
func tableHolds(t *testing.T, places poses.Table, pairs, table string) {
	t.Helper()
	most := map[string]string{}
	for k, line := range strings.Split(strings.TrimSpace(pairs), "\n") {
		f := strings.Split(line, ",")
		for _, name := range f[:2] {
			if k > 0 && f[2] > most[name] {
				most[name] = f[2]
			}
		}
	}
	lines := strings.Split(strings.TrimSpace(table), "\n")
	if len(lines) != 1+len(places.Scans) {
		t.Errorf("%d lines for %d scans:\n%s", len(lines), len(places.Scans), table)
	}
	for _, p := range places.Scans {
		at := strings.Index(table, "\n"+p.Name+",")
		if at < 0 {
			t.Errorf("no line for %s:\n%s", p.Name, table)
			continue
		}
		f := strings.Split(strings.SplitN(table[at+1:], "\n", 2)[0], ",")
		share, _ := strconv.ParseFloat(most[p.Name], 64)
		if (f[1] == "yes") != p.Placed || p.Placed && !(math.Abs(100*share-atPercent(f[4])) <= 0.56) || p.Why != strings.Join(f[8:], ",") {
			t.Errorf("%s: placed %v, overlap %s, why %q; the table says %v", p.Name, p.Placed, most[p.Name], p.Why, f)
		}
	}
}

func atPercent(s string) float64 {
	x, _ := strconv.ParseFloat(strings.TrimSuffix(s, " %"), 64)
	return x
}

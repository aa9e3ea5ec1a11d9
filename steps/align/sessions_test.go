package align

import (
	"bytes"
	"cmp"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"strconv"
	"testing"

	"layette/engine/step"
	"layette/steps/internal/geom"
	"layette/steps/internal/meshio"
	"layette/steps/internal/steptest"
	"layette/steps/merge"
	"layette/steps/specimen"
)

// A shot farther from where it belongs than this is placed falsely.
const (
	falseDeg = 1.0
	falseMM  = 0.7
)

// TestSessions is the long proof: sessions round a hand, an arm and a head with
// 0.05 to 0.15 mm of noise, as she shoots them: each shot shares about 30 % of
// its points with the one before, one in ten is bad, one is filed twice, lips
// are wet, and on the hand and the arm a finger moves when two thirds are done.
// No shot may be placed falsely, and half of the skin
// joined from what is placed must lie within half the noise of the truth. Set
// LAYETTE_SEEDS to run it; LAYETTE_PART picks one part, LAYETTE_FIRST the first
// seed.
func TestSessions(t *testing.T) {
	if os.Getenv("LAYETTE_SEEDS") == "" {
		t.Skip("LAYETTE_SEEDS is not set: the long proof is left out")
	}
	first, _ := strconv.ParseUint(os.Getenv("LAYETTE_FIRST"), 10, 64)
	for _, c := range []struct {
		part  string
		shots int
	}{{"right-hand", 40}, {"right-arm", 40}, {"head", 60}} {
		if want := os.Getenv("LAYETTE_PART"); want != "" && want != c.part {
			continue
		}
		for seed := first; seed < first+seedsWanted(); seed++ {
			s := specimen.Session{Shots: c.shots, Shared: 0.3, Bad: 0.1, Twice: true, Seed: seed,
				Scanner: specimen.Scanner{Pitch: 0.5, Noise: 0.05 + 0.05*float64(seed%3)}}
			part := steptest.Part(t, specimen.Options{}, c.part)
			s.Later = part
			if c.part != "head" {
				s.Later = steptest.Part(t, specimen.Options{Curl: [5]float64{1: 20}}, c.part)
			}
			toldOf(t, c.part, s, part)
		}
	}
}

// toldOf runs one session and says how it went.
func toldOf(t *testing.T, name string, s specimen.Session, part *specimen.Part) {
	shots := sittingOf(t, part, s)
	r := rand.New(rand.NewPCG(s.Seed, 1))
	truth := map[string]geom.Pose{}
	var files []step.File
	for _, c := range shots {
		m, p := thrown(c.mesh, r)
		truth[c.name] = p.Inverse().Then(c.pose)
		files = append(files, plyOf(t, c.name, m))
	}
	res := steptest.Run(t, Kind{}, steptest.Given{Inputs: map[string][]step.File{"scans": files}})
	f := posesOf(t, res)
	fit, wrong, deg, mm := judged(t, f, truth, shots)
	good, placed, bad := 0, 0, 0
	for _, c := range shots {
		row := rowOf(f, c.name)
		switch {
		case c.good && row.Placed:
			good, placed = good+1, placed+1
		case c.good:
			good++
			t.Logf("  %s is not placed: %s", c.name, row.Why)
		case row.Placed && c.why != specimen.Duplicate:
			bad++
			t.Logf("  %s is %s and was placed", c.name, c.why)
		}
	}
	off, n := skinOff(t, files, res, fit, part, s.Later)
	t.Logf("%s seed %d, noise %.2f: %.3f shared from shot to shot; %d of %d good placed, %d false, %d bad ones placed; worst %.3f deg %.3f mm; half of %d vertices within %.4f mm; groups %v moved %v rms %v",
		name, s.Seed, s.Scanner.Noise, sharedOf(t, shots), placed, good, len(wrong), bad, deg, mm, n, off, res.Measures["groups"], res.Measures["moved.places"], res.Measures["residual.rms"])
	if moved, still := movedTruly(t, res, fit, part, s.Later); still > 0 {
		t.Errorf("%s seed %d: %d places are said to have moved that did, %d that did not", name, s.Seed, moved, still)
	}
	if len(wrong) > 0 {
		t.Errorf("%s seed %d: placed falsely: %v", name, s.Seed, wrong)
	}
	if !(off <= s.Scanner.Noise/2) {
		t.Errorf("%s seed %d: half of the skin lies within %.4f mm, want %.4f", name, s.Seed, off, s.Scanner.Noise/2)
	}
}

// judged compares poses with the truth after a fit of the common frame that
// the falsely placed cannot pull: the frame in which most shots lie right.
func judged(t testing.TB, f posesFile, truth map[string]geom.Pose, shots []shot) (fit geom.Pose, wrong []string, deg, mm float64) {
	t.Helper()
	type placed struct {
		name     string
		at, true geom.Pose
		mid      geom.Vec
	}
	var all []placed
	for _, s := range shots {
		if row := rowOf(f, s.name); row.Placed && truth[s.name] != (geom.Pose{}) {
			mid := truth[s.name].Inverse().Apply(s.pose.Apply(s.mesh.Bounds().Centre().Add(s.mesh.Origin)))
			all = append(all, placed{s.name, row.pose(), truth[s.name], mid})
		}
	}
	kept := all
	for range 4 {
		var from, to []geom.Vec
		for _, p := range kept {
			for _, d := range []geom.Vec{{}, {X: 50}, {Y: 50}, {Z: 50}} {
				from, to = append(from, p.at.Apply(p.mid.Add(d))), append(to, p.true.Apply(p.mid.Add(d)))
			}
		}
		if len(kept) == 0 {
			return fit, nil, 0, 0
		}
		x, err := geom.FitRigid(from, to, nil)
		if err != nil {
			t.Fatal(err)
		}
		fit = x.Pose
		off := func(p placed) float64 { _, m := apartPose(p.at.Then(fit), p.true, p.mid); return m }
		kept = slices.Clone(all)
		slices.SortFunc(kept, func(x, y placed) int { return cmp.Compare(off(x), off(y)) })
		kept = kept[:(3*len(kept)+3)/4]
	}
	for _, p := range all {
		d, m := apartPose(p.at.Then(fit), p.true, p.mid)
		deg, mm = max(deg, d), max(mm, m)
		if d > falseDeg || m > falseMM {
			wrong = append(wrong, p.name)
		}
	}
	return fit, wrong, deg, mm
}

// skinOff joins the placed scans and returns how far half of the vertices lie
// at most from the part, as it was before or after the move, and how many
// there are.
func skinOff(t *testing.T, files []step.File, res *steptest.Result, fit geom.Pose, part, later *specimen.Part) (float64, int) {
	t.Helper()
	joined := steptest.Run(t, merge.Kind{}, steptest.Given{
		Inputs: map[string][]step.File{"scans": files, "poses": {steptest.File("poses.json", res.Files["poses/poses.json"], "")}},
		Values: step.Values{"voxel": 0.5},
	})
	var off []float64
	for _, key := range joined.Order {
		if data := joined.Files[key]; bytes.HasPrefix(data, []byte("ply")) {
			m, _, err := meshio.Read(t.Context(), bytes.NewReader(data), int64(len(data)), meshio.Options{Scale: 1, Workers: 2})
			if err != nil {
				t.Fatal(err)
			}
			for _, p := range m.Verts {
				q := fit.Apply(p.Vec().Add(m.Origin))
				a, _ := part.Field.At(q)
				b, _ := later.Field.At(q)
				off = append(off, min(math.Abs(a), math.Abs(b)))
			}
			break
		}
	}
	if len(off) == 0 {
		return math.NaN(), 0
	}
	slices.Sort(off)
	return off[len(off)/2], len(off)
}

// sharedOf returns the mean share of a good shot's points that the good shot
// before it has too, counted on the scans.
func sharedOf(t testing.TB, shots []shot) float64 {
	t.Helper()
	sum, n := 0.0, 0
	for i := 1; i < len(shots); i++ {
		a, b := shots[i-1], shots[i]
		if !a.good || !b.good {
			continue
		}
		var pts []geom.Point
		for _, p := range a.mesh.Verts {
			pts = append(pts, a.pose.Apply(p.Vec()).Point())
		}
		tree, err := geom.NewPointTree(t.Context(), pts, 2)
		if err != nil {
			t.Fatal(err)
		}
		near, asked := 0, 0
		for k := 0; k < len(b.mesh.Verts); k += 1 + len(b.mesh.Verts)/500 {
			asked++
			if tree.Nearest(b.pose.Apply(b.mesh.Verts[k].Vec()), 1).ID >= 0 {
				near++
			}
		}
		sum, n = sum+float64(near)/float64(max(1, asked)), n+1
	}
	return sum / float64(max(1, n))
}

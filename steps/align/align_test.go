package align

import (
	"encoding/json"
	"math"
	"math/rand/v2"
	"os"
	"strconv"
	"testing"

	"layette/engine/step"
	"layette/steps/internal/geom"
	"layette/steps/internal/steptest"
)

// tossed turns and moves every shot at random, hands them to the step, and
// returns what came of it with the true poses of the tossed files.
func tossed(t testing.TB, shots []shot, seed uint64) (*steptest.Result, map[string]geom.Pose) {
	t.Helper()
	r := rand.New(rand.NewPCG(seed, 1))
	truth := map[string]geom.Pose{}
	var files []step.File
	for _, s := range shots {
		m, p := thrown(s.mesh, r)
		truth[s.name] = p.Inverse().Then(s.pose)
		files = append(files, plyOf(t, s.name, m))
	}
	return steptest.Run(t, Kind{}, steptest.Given{Inputs: map[string][]step.File{"scans": files}}), truth
}

// posesOf reads poses.json.
func posesOf(t testing.TB, r *steptest.Result) posesFile {
	t.Helper()
	var f posesFile
	if err := json.Unmarshal(r.Files["poses/poses.json"], &f); err != nil {
		t.Fatal(err)
	}
	return f
}

func (p *poseRow) pose() geom.Pose {
	var at geom.Pose
	for k, x := range p.Rotation {
		at.Rot[k/3][k%3] = x
	}
	at.Move = geom.Vec{X: p.Move[0], Y: p.Move[1], Z: p.Move[2]}
	return at
}

// farthest returns how far the placed scans lie at worst from the truth, after
// the common frame is brought onto the object's by a fit to all of them.
func farthest(t testing.TB, f posesFile, truth map[string]geom.Pose, shots []shot) (deg, mm float64, placed map[string]bool) {
	t.Helper()
	middle := map[string]geom.Vec{}
	for _, s := range shots {
		middle[s.name] = truth[s.name].Inverse().Apply(s.pose.Apply(s.mesh.Bounds().Centre().Add(s.mesh.Origin)))
	}
	placed = map[string]bool{}
	var from, to []geom.Vec
	for k := range f.Scans {
		s := &f.Scans[k]
		if s.Placed {
			placed[s.File] = true
			for _, d := range []geom.Vec{{}, {X: 50}, {Y: 50}, {Z: 50}} {
				from = append(from, s.pose().Apply(middle[s.File].Add(d)))
				to = append(to, truth[s.File].Apply(middle[s.File].Add(d)))
			}
		}
	}
	if len(placed) == 0 {
		return 0, 0, placed
	}
	fit, err := geom.FitRigid(from, to, nil)
	if err != nil {
		t.Fatal(err)
	}
	for k := range f.Scans {
		if s := &f.Scans[k]; s.Placed {
			d, m := apartPose(s.pose().Then(fit.Pose), truth[s.File], middle[s.File])
			deg, mm = max(deg, d), max(mm, m)
		}
	}
	return deg, mm, placed
}

// nothingMoved demands that of a still body nothing is said to have moved.
func nothingMoved(t testing.TB, seed uint64, res *steptest.Result) {
	t.Helper()
	for _, s := range res.Spots {
		t.Errorf("seed %d: nothing moved, yet %s", seed, s.Says)
	}
}

// seedsWanted is how many random tosses a test does: one, or as many as
// LAYETTE_SEEDS says.
func seedsWanted() uint64 {
	n, err := strconv.ParseUint(os.Getenv("LAYETTE_SEEDS"), 10, 64)
	if err != nil {
		return 1
	}
	return n
}

// TestRabbit: ten views of the Stanford rabbit, each turned and moved at
// random, come to lie as published, to 0.5 degrees and 0.4 mm.
func TestRabbit(t *testing.T) {
	shots := rabbit(t)
	for seed := range seedsWanted() {
		res, truth := tossed(t, shots, seed)
		deg, mm, placed := farthest(t, posesOf(t, res), truth, shots)
		t.Logf("seed %d: %d placed, worst %.3f deg %.3f mm, %v", seed, len(placed), deg, mm, res.Measures)
		if len(placed) != 10 || deg > 0.5 || mm > 0.4 {
			t.Errorf("seed %d: %d of 10 placed, worst %.3f degrees and %.3f mm\n%v", seed, len(placed), deg, mm, res.Notes)
		}
		nothingMoved(t, seed, res)
	}
}

// TestHeadViews: every good view of a head is placed to 0.3 degrees and 0.15
// mm; the bad ones are not.
func TestHeadViews(t *testing.T) {
	shots := headViews(t)
	for seed := range seedsWanted() {
		res, truth := tossed(t, shots, seed)
		deg, mm, placed := farthest(t, posesOf(t, res), truth, shots)
		t.Logf("seed %d: %d placed, worst %.3f deg %.3f mm, %v", seed, len(placed), deg, mm, res.Measures)
		for _, s := range shots {
			if placed[s.name] != s.good {
				t.Errorf("seed %d: %s (%s) placed is %v", seed, s.name, s.why, placed[s.name])
			}
		}
		if deg > 0.3 || mm > 0.15 || math.IsNaN(deg) {
			t.Errorf("seed %d: worst %.3f degrees and %.3f mm\n%v", seed, deg, mm, res.Notes)
		}
		nothingMoved(t, seed, res)
	}
}

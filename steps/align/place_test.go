package align

import (
	"bytes"
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"strconv"
	"testing"
	"time"

	"layette/engine/step"
	"layette/steps/internal/geom"
	"layette/steps/internal/meshio"
	"layette/steps/internal/steptest"
)

// plyOf returns a mesh as an input file.
func plyOf(t testing.TB, name string, m *geom.Mesh) step.File {
	t.Helper()
	var b bytes.Buffer
	if err := meshio.WritePLY(&b, m); err != nil {
		t.Fatal(err)
	}
	return steptest.File(name, b.Bytes(), "mm")
}

// thrown returns m turned and moved at random, and how.
func thrown(m *geom.Mesh, r *rand.Rand) (*geom.Mesh, geom.Pose) {
	p := geom.Pose{Rot: geom.Quaternion{W: r.NormFloat64(), X: r.NormFloat64(), Y: r.NormFloat64(), Z: r.NormFloat64()}.Rot(),
		Move: geom.Vec{X: 200 * (r.Float64() - 0.5), Y: 200 * (r.Float64() - 0.5), Z: 200 * (r.Float64() - 0.5)}}
	out := &geom.Mesh{Tris: m.Tris, Verts: make([]geom.Point, len(m.Verts))}
	for i, v := range m.Verts {
		out.Verts[i] = p.Apply(v.Vec().Add(m.Origin)).Point()
	}
	return out, p
}

func TestPlaceProbe(t *testing.T) {
	which := os.Getenv("PROBE")
	if which == "" {
		t.Skip()
	}
	var shots []shot
	switch which {
	case "rabbit":
		shots = rabbit(t)
	case "head":
		shots = headViews(t)
	default:
		shots = specimenShots(t, which)
	}
	seed, _ := strconv.ParseUint(os.Getenv("SEED"), 10, 64)
	r := rand.New(rand.NewPCG(seed, 1))
	s := &session{job: &step.Job{Values: step.Values{}, Workers: 2, Progress: step.NoProgress}}
	truth := map[string]geom.Pose{}
	for _, sh := range shots {
		m, p := thrown(sh.mesh, r)
		truth[sh.name] = p.Inverse().Then(sh.pose)
		s.scans = append(s.scans, &scan{file: plyOf(t, sh.name, m), name: sh.name})
	}
	ctx := context.Background()
	t0 := time.Now()
	must := func(err error) {
		if err != nil {
			t.Fatal(err)
		}
	}
	must(s.look(ctx))
	s.choose()
	must(s.ready(ctx))
	fmt.Println("spacing", s.spacing, "ready", time.Since(t0))
	t0 = time.Now()
	pairs, err := s.pairUp(ctx)
	must(err)
	fmt.Println("pairs", len(pairs), time.Since(t0))
	t0 = time.Now()
	groups, err := s.together(ctx, pairs)
	must(err)
	fmt.Println("groups", len(groups), "ratio", s.ratio, time.Since(t0))
	good := map[string]shot{}
	for _, sh := range shots {
		good[sh.name] = sh
	}
	for _, p := range pairs {
		a, b := s.scans[p.a], s.scans[p.b]
		if os.Getenv("VERBOSE") == "" {
			break
		}
		tr := truth[a.name].Then(truth[b.name].Inverse())
		tm := geom.Meet(a.view, b.view, tr, limit(a, b), 300)
		fmt.Printf("%s %s true overlap %.2f agree %.2f\n", a.name, b.name, tm.Overlap(), tm.Agree())
		for _, i := range p.ideas {
			d, m := apartPose(i.Pose, tr, a.middle)
			fmt.Printf("    votes %d on %d overlap %.2f agree %.2f clash %.3f sigma %.3f (%.2f) firm %.4f off %.2f deg %.2f mm sure %v\n", i.Votes, i.On, i.Overlap, i.Agree, i.Clash, i.Sigma, i.Sigma/s.noise(p.a, p.b), i.Firm, d, m, s.sure(&p, &i))
		}
	}
	for k, g := range groups {
		must(g.settle(ctx, true, 6))
		fmt.Println("group", k, len(g.order))
		// common frame: best fit of middles is avoided: worst against the first
		var from, to []geom.Vec
		for _, i := range g.order {
			c := s.scans[i]
			for _, d := range []geom.Vec{{}, {X: 50}, {Y: 50}, {Z: 50}} {
				from = append(from, g.at[i].Apply(c.middle.Add(d)))
				to = append(to, truth[c.name].Apply(c.middle.Add(d)))
			}
		}
		f, _ := geom.FitRigid(from, to, nil)
		worstD, worstM := 0.0, 0.0
		for _, i := range g.order {
			c := s.scans[i]
			at := g.at[i].Then(f.Pose)
			d, m := apartPose(at, truth[c.name], c.middle)
			if good[c.name].good {
				worstD, worstM = max(worstD, d), max(worstM, m)
			}
			fmt.Printf("  %s good %v %s: %.3f deg %.3f mm\n", c.name, good[c.name].good, good[c.name].why, d, m)
		}
		fmt.Printf("worst %.3f deg %.3f mm\n", worstD, worstM)
	}
	if len(groups) > 0 {
		g := groups[0]
		for i, c := range s.scans {
			if !g.in[i] {
				w := c.why
				if w == "" {
					if c.last != nil {
						w = c.last.why + fmt.Sprintf(" [agree %.2f overlap %.2f clash %.3f sigma %.2f firm %.4f]", c.last.meeting.Agree(), c.last.overlap, c.last.meeting.Clashing(), c.last.sigma, c.last.firm)
					} else {
						w = "no idea"
					}
				}
				fmt.Println("  out:", c.name, good[c.name].good, good[c.name].why, "|", w, math.Round(c.area))
			}
		}
	}
}

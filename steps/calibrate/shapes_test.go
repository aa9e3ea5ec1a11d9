package calibrate

import (
	"math"
	"os"
	"strconv"
	"strings"
	"testing"

	"layette/steps/internal/form"
	"layette/steps/internal/geom"
	"layette/steps/specimen"
)

// lined returns a part of the invented child with waves of 1 to 6 mm on its skin,
// 0.03 of their length deep either way: they depend on the place alone, so that
// other triangles show the same skin. The flat opening stays flat.
func lined(t testing.TB, name string, triangles int) *geom.Mesh {
	t.Helper()
	m := ofChild(t, specimen.Options{}, name, triangles)
	out := m.VertexNormals()
	for i, v := range m.Verts {
		q := v.Vec()
		m.Verts[i] = q.Add(out[i].Vec().Mul(waves(q) * min(1, max(0, q.Z-1)/4))).Point()
	}
	return m
}

// TestShapes calibrates parts of the invented child that LAYETTE_SHAPES names, such
// as right-hand,right-foot or head, for LAYETTE_SEEDS samples each: half a minute of
// a processor for one. A head needs LAYETTE_TRIANGLES=1000000 for waves of 1 mm.
func TestShapes(t *testing.T) {
	if os.Getenv("LAYETTE_SHAPES") == "" {
		t.Skip("set LAYETTE_SHAPES=right-hand,right-foot to calibrate these")
	}
	names, seeds, triangles := strings.Split(os.Getenv("LAYETTE_SHAPES"), ","), 1, 300_000
	if n, _ := strconv.Atoi(os.Getenv("LAYETTE_SEEDS")); n > 0 {
		seeds = n
	}
	if n, _ := strconv.Atoi(os.Getenv("LAYETTE_TRIANGLES")); n > 0 {
		triangles = n
	}
	first, _ := strconv.Atoi(os.Getenv("LAYETTE_FIRST"))
	for _, name := range names {
		c := &calibration{reach: 2, workers: 2}
		if err := c.prepare(t.Context(), lined(t, name, triangles)); err != nil {
			t.Fatal(err)
		}
		soft := map[float64]*geom.Mesh{}
		for seed := first; seed < first+seeds; seed++ {
			w := trial(seed)
			w.bend, w.twist = w.bend*24/c.size, w.twist*24/c.size
			w.hole = math.Sqrt(0.15 * c.mesh.Area() / 4 / math.Pi)
			if soft[w.detail] == nil {
				soft[w.detail] = softened(t, lined(t, name, 2*triangles), w.detail)
			}
			f, err := c.study(t.Context(), "sample", scanned(soft[w.detail], w))
			if err != nil {
				t.Fatalf("%s, seed %d: %v", name, seed, err)
			}
			t.Logf("%s, seed %d: sigma %.4f noise %.4f bend %.3f free %v covered %.2f edge %.3f", name, seed, f.sigma, f.noise, f.bend, f.free, f.covered, math.Sqrt(c.mesh.Area()/float64(len(c.mesh.Tris))*evenEdge2))
			check := func(what string, b band, want, most float64) {
				if strings.HasSuffix(what, "mm") && !b.known() {
					t.Logf("seed %d %s %s is not told: the triangles are too coarse", seed, name, what)
					return
				}
				t.Logf("seed %d %s %s off %+.6f bound %.6f", seed, name, what, b.at-want, (b.to-b.from)/2)
				if !(math.Abs(b.at-want) <= most) {
					t.Errorf("%s, seed %d: %s is %.5f, want %.5f", name, seed, what, b, want)
				}
			}
			for k, want := range w.shrink {
				check([3]string{"x", "y", "z"}[k], f.shrink[k], want, 0.0005)
			}
			for k, b := range f.share {
				at := cutoffAt(firstBand + k)
				check(strconv.FormatFloat(at, 'f', 1, 64)+" mm", b, form.Passed(w.detail, at), 0.03)
			}
		}
	}
}

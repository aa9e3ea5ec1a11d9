package workpiece

import (
	"bytes"
	"context"
	"errors"
	"io"
	"math"
	"strings"
	"testing"

	"layette/engine/step"
	"layette/steps/internal/geom"
	"layette/steps/internal/meshio"
	"layette/steps/internal/steptest"
)

func tetra() *geom.Mesh {
	return &geom.Mesh{Verts: []geom.Point{{0, 0, 0}, {1, 0, 0}, {0, 1, 0}, {0, 0, 1}}, Tris: []geom.Tri{{0, 2, 1}, {0, 1, 3}, {1, 2, 3}, {2, 0, 3}}}
}

func job(files ...step.File) *step.Job {
	return &step.Job{Inputs: map[string][]step.File{"surface": files}, Workers: 2, Progress: step.NoProgress}
}

func file(t *testing.T, units string) step.File {
	var b bytes.Buffer
	if err := meshio.WriteSTL(&b, tetra(), ""); err != nil {
		t.Fatal(err)
	}
	return steptest.File("scans/left hand.v2.stl", b.Bytes(), units)
}

// TestUnits: every unit becomes millimetres; none, or one unknown, is refused
// by a sentence that names the file.
func TestUnits(t *testing.T) {
	for units, mm := range map[string]float64{"um": 0.001, "mm": 1, "cm": 10, "m": 1000, "in": 25.4} {
		m, err := Surface(t.Context(), job(file(t, units)), "surface")
		if err != nil {
			t.Fatal(err)
		}
		if got := m.Bounds().Size().X; !(math.Abs(got-mm) <= 1e-7*mm) {
			t.Errorf("one %s is %v mm, want %v", units, got, mm)
		}
	}
	for _, units := range []string{"", "furlong"} {
		if _, err := Surface(t.Context(), job(file(t, units)), "surface"); err == nil || !strings.Contains(err.Error(), "left hand.v2.stl: its unit must be stated") {
			t.Errorf("unit %q: %v", units, err)
		}
	}
}

func TestOneAndMany(t *testing.T) {
	p, err := One(t.Context(), job(file(t, "mm")), "surface")
	if err != nil || p.Base() != "left hand.v2" || p.Info.Format != "binary STL" {
		t.Errorf("%q, %v, %v", p.Base(), p.Info, err)
	}
	if _, err := One(t.Context(), job(), "surface"); err == nil || !strings.Contains(err.Error(), `input "surface" needs one file and has 0`) {
		t.Errorf("%v", err)
	}
	all, err := Surfaces(t.Context(), job(file(t, "mm"), file(t, "cm")), "surface")
	if err != nil || len(all) != 2 || all[1].Mesh.Bounds().Max.X != 10 {
		t.Errorf("%v, %v", all, err)
	}
}

// TestPointsAreNoSurface: points alone are a scan, not a surface.
func TestPointsAreNoSurface(t *testing.T) {
	f := steptest.File("cloud.obj", []byte("v 0 0 0\nv 1 2 nan\nv 1 2 3\n"), "mm")
	if _, err := Open(t.Context(), job(f), f); err == nil || !strings.Contains(err.Error(), "cloud.obj: this OBJ holds 2 points and no triangles") {
		t.Errorf("%v", err)
	}
	p, err := OpenScan(t.Context(), job(f), f)
	if err != nil || len(p.Mesh.Verts) != 2 || !strings.Contains(strings.Join(p.Notes(), ""), "cloud.obj: 1 points were left out") {
		t.Errorf("%v, %v", p.Notes(), err)
	}
}

// failing is an output that takes no bytes.
type failing struct{ closed bool }

func (f *failing) Write([]byte) (int, error) { return 0, errors.New("the disk is full") }
func (f *failing) Close() error              { f.closed = true; return nil }

func TestWriting(t *testing.T) {
	f := &failing{}
	j := job()
	j.Create = func(string, string) (io.WriteCloser, error) { return f, nil }
	for _, err := range []error{Write(j, "o", "a.ply", tetra()), WriteSTL(j, "o", "a.ply", tetra(), ""), WriteText(j, "o", "a.ply", "x")} {
		if err == nil || err.Error() != "a.ply: the disk is full" || !f.closed {
			t.Errorf("%v, closed %v", err, f.closed)
		}
	}
}

func TestStops(t *testing.T) {
	stop := errors.New("stop")
	ctx, cancel := context.WithCancelCause(t.Context())
	cancel(stop)
	if _, err := Surface(ctx, job(file(t, "mm")), "surface"); err != stop {
		t.Errorf("%v, want %v", err, stop)
	}
}

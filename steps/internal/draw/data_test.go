package draw

import (
	"bytes"
	"os"
	"path/filepath"
	"testing"

	"layette/steps/internal/geom"
	"layette/steps/internal/meshio"
)

// Real scans, whole and damaged in every way we have, are drawn: something
// shows, and the same spot is seen or not whatever the number of workers.
func TestRealSurfaces(t *testing.T) {
	root := os.Getenv("LAYETTE_DATA")
	if root == "" {
		t.Skip("NOT TESTED on real surfaces: LAYETTE_DATA is not set")
	}
	drawn := 0
	for _, pattern := range []string{"lee-perry-smith-head/*.ply", "vtk-human/*.ply", "derived-defects-a/*", "child-head-template/*.ply", "cgal-bodies/*.off", "derived-views-a/scan_0[1-4].ply"} {
		names, err := filepath.Glob(filepath.Join(root, pattern))
		if err != nil {
			t.Fatal(err)
		}
		for _, name := range names {
			data, err := os.ReadFile(name)
			if err != nil {
				t.Fatal(err)
			}
			m, _, err := meshio.Read(t.Context(), bytes.NewReader(data), int64(len(data)), meshio.Options{Workers: 2})
			if err != nil || len(m.Tris) == 0 {
				continue // lists of answers and notes lie beside the surfaces
			}
			drawn++
			showReal(t, filepath.Base(name), m)
		}
	}
	if drawn < 20 {
		t.Errorf("only %d surfaces drawn: is LAYETTE_DATA the right folder?", drawn)
	}
}

func showReal(t *testing.T, name string, m *geom.Mesh) {
	t.Helper()
	s := Scene{Title: name, Mesh: m, Spots: []Spot{{Number: 1, At: m.Verts[m.Tris[0][0]].Vec().Add(m.Origin), Radius: 1}}}
	s.Workers = 1
	a, err := Draw(t.Context(), s, candidates[0], Size{300, 240})
	if err != nil {
		t.Errorf("%s: %v", name, err)
		return
	}
	s.Workers = 3
	b, err := Draw(t.Context(), s, candidates[0], Size{300, 240})
	if err != nil || !bytes.Equal(a.Image.Pix, b.Image.Pix) || a.Seen[0] != b.Seen[0] {
		t.Errorf("%s: three workers draw another picture than one, %v", name, err)
	}
	ground := 0
	for i := 0; i < len(a.Image.Pix); i += 4 {
		if a.Image.Pix[i] == paperColour.R && a.Image.Pix[i+2] == paperColour.B {
			ground++
		}
	}
	if n := len(a.Image.Pix) / 4; ground > n*99/100 || ground < n/20 {
		t.Errorf("%s: %d of %d pixels are bare paper", name, ground, n)
	}
}

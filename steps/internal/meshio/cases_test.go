package meshio

import (
	"bytes"
	"compress/gzip"
	"io"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"layette/steps/internal/geom"
)

// data returns the bytes of a file of the open data, unpacked; it skips the
// test where the data is not at hand.
func data(t testing.TB, name string) []byte {
	t.Helper()
	dir := os.Getenv("LAYETTE_DATA")
	if dir == "" {
		t.Skip("SKIPPED: set LAYETTE_DATA to the folder of open test data to run this")
	}
	b, err := os.ReadFile(filepath.Join(dir, name))
	if err != nil {
		t.Fatal(err)
	}
	if strings.HasSuffix(name, ".gz") {
		z, err := gzip.NewReader(bytes.NewReader(b))
		if err != nil {
			t.Fatal(err)
		}
		if b, err = io.ReadAll(z); err != nil {
			t.Fatal(err)
		}
	}
	return b
}

func readBytes(t testing.TB, b []byte) (*geom.Mesh, Info, error) {
	t.Helper()
	return Read(t.Context(), bytes.NewReader(b), int64(len(b)), Options{Workers: 2})
}

// near reports whether got is want to the six digits the expectations have.
func near(got, want float64) bool { return math.Abs(got-want) <= 1e-5*math.Abs(want)+1e-9 }

// fileCase is what is expected of one file: either a sentence of refusal, or a
// surface and whether anything odd is noted.
type fileCase struct {
	file         string
	verts, tris  int
	area, volume float64 // 0: not looked at
	note         string  // part of a note
	wantErr      string  // part of the refusal
}

func (c fileCase) run(t *testing.T, folder string) {
	t.Run(c.file, func(t *testing.T) {
		m, info, err := readBytes(t, data(t, folder+"/"+c.file))
		if c.wantErr != "" {
			if err == nil || !strings.Contains(err.Error(), c.wantErr) {
				t.Fatalf("error %v, want one with %q", err, c.wantErr)
			}
			return
		}
		if err != nil {
			t.Fatal(err)
		}
		if len(m.Verts) != c.verts || len(m.Tris) != c.tris {
			t.Errorf("%d vertices, %d triangles; want %d, %d", len(m.Verts), len(m.Tris), c.verts, c.tris)
		}
		if c.area != 0 && !near(m.Area(), c.area) {
			t.Errorf("area %v, want %v", m.Area(), c.area)
		}
		if c.volume != 0 && !near(m.Volume(), c.volume) {
			t.Errorf("volume %v, want %v", m.Volume(), c.volume)
		}
		if notes := strings.Join(info.Notes, "; "); !strings.Contains(notes, c.note) || (c.note == "") != (notes == "") {
			t.Errorf("notes %q, want %q", notes, c.note)
		}
	})
}

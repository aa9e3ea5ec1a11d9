package meshio

import (
	"bytes"
	"testing"
	"time"

	"github.com/hpinc/go3mf"

	"layette/steps/internal/geom"
)

// TestThreeMF: what is written reads back with the library, in millimetres,
// with its names, and is valid by the 3MF Core Specification as the library
// checks it; a day later the bytes are the same.
func TestThreeMF(t *testing.T) {
	tetra := &geom.Mesh{
		Verts: []geom.Point{{0, 0, 0}, {10, 0, 0}, {0, 10, 0}, {0, 0, 10.0625}},
		Tris:  []geom.Tri{{0, 2, 1}, {0, 1, 3}, {0, 3, 2}, {1, 2, 3}},
	}
	moved := &geom.Mesh{Verts: tetra.Verts, Tris: tetra.Tris, Origin: geom.Vec{X: 30}}
	var a, b bytes.Buffer
	pieces := []Named{{"left hand", tetra}, {"right hand", moved}}
	if err := WriteThreeMF(&a, pieces); err != nil {
		t.Fatal(err)
	}
	time.Sleep(2100 * time.Millisecond) // a zip's clock ticks every two seconds
	for range 20 {                      // the library's list of parts comes in either order
		b.Reset()
		if err := WriteThreeMF(&b, pieces); err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(a.Bytes(), b.Bytes()) {
			t.Fatal("the same pieces give other bytes later")
		}
	}
	var m go3mf.Model
	if err := go3mf.NewDecoder(bytes.NewReader(a.Bytes()), int64(a.Len())).Decode(&m); err != nil {
		t.Fatal(err)
	}
	if err := m.Validate(); err != nil {
		t.Errorf("not valid: %v", err)
	}
	if m.Units != go3mf.UnitMillimeter || len(m.Resources.Objects) != 2 || m.Resources.Objects[0].Name != "left hand" {
		t.Fatalf("units %v, objects %v", m.Units, m.Resources.Objects)
	}
	if v := m.Resources.Objects[1].Mesh.Vertices.Vertex[3]; v != (go3mf.Point3D{30, 0, 10.0625}) {
		t.Errorf("vertex %v", v)
	}
	if err := WriteThreeMF(&a, nil); err == nil {
		t.Error("an empty file was written")
	}
}

package meshio

import (
	"bytes"
	"math"
	"testing"

	"github.com/qmuntal/gltf"
	"github.com/qmuntal/gltf/modeler"

	"layette/steps/internal/geom"
)

// A corner 345 mm up comes out 0.345 m up, what lies on the part's right comes
// out on glTF's -X, as the library that wrote it reads it; triangles still turn the same way, for the swap of
// axes has determinant +1; colours are light.
func TestWriteGLB(t *testing.T) {
	m := &geom.Mesh{
		Verts:   []geom.Point{{0, 0, 0}, {100, 0, 0}, {0, -50, 0}, {0, 0, 345}},
		Tris:    []geom.Tri{{0, 1, 3}, {0, 2, 1}, {0, 3, 2}, {1, 2, 3}},
		Colours: [][4]uint8{{0, 0, 0, 255}, {255, 188, 10, 255}, {255, 255, 255, 128}, {1, 2, 3, 4}},
	}
	var b, again bytes.Buffer
	if err := WriteGLB(&b, m, "head"); err != nil {
		t.Fatal(err)
	}
	if err := WriteGLB(&again, m, "head"); err != nil || !bytes.Equal(b.Bytes(), again.Bytes()) {
		t.Fatalf("written twice: other bytes, %v", err)
	}
	var doc gltf.Document
	if err := gltf.NewDecoder(&b).Decode(&doc); err != nil {
		t.Fatal(err)
	}
	shape := doc.Meshes[0].Primitives[0]
	places, err := modeler.ReadPosition(&doc, doc.Accessors[shape.Attributes[gltf.POSITION]], nil)
	if err != nil {
		t.Fatal(err)
	}
	if places[3] != [3]float32{0, 0.345, 0} || places[2] != [3]float32{0, 0, -0.05} || places[1] != [3]float32{-0.1, 0, 0} {
		t.Errorf("places %v", places)
	}
	index, err := modeler.ReadIndices(&doc, doc.Accessors[*shape.Indices], nil)
	if err != nil {
		t.Fatal(err)
	}
	out := &geom.Mesh{}
	for _, p := range places {
		out.Verts = append(out.Verts, geom.Point{p[0] * 1000, p[1] * 1000, p[2] * 1000})
	}
	for i := 0; i < len(index); i += 3 {
		out.Tris = append(out.Tris, geom.Tri{int32(index[i]), int32(index[i+1]), int32(index[i+2])})
	}
	if got, want := out.Volume(), m.Volume(); !(math.Abs(got/want-1) <= 1e-6) {
		t.Errorf("volume %g, want %g", got, want)
	}
	colours, err := modeler.ReadColor64(&doc, doc.Accessors[shape.Attributes[gltf.COLOR_0]], nil)
	if err != nil {
		t.Fatal(err)
	}
	// 188 is half the light of 255 (IEC 61966-2-1)
	if c := colours[1]; c[0] != 65535 || !(math.Abs(float64(c[1])/65535-0.5) <= 0.005) || c[2] > 250 {
		t.Errorf("colours %v", colours)
	}
}

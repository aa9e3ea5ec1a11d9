package meshio

import (
	"io"
	"math"

	"github.com/qmuntal/gltf"
	"github.com/qmuntal/gltf/modeler"

	"layette/steps/internal/geom"
)

// WriteGLB writes m as a binary glTF 2.0 file for other programs to show, with
// its colours where it has any. glTF lengths are metres and +Y is up, its
// front looks along +Z (glTF 2.0, "Coordinate System and Units"): a head of 345
// mm is 0.345 there, and what stood along +Z and faced +Y here stands and
// faces as glTF wants. Equal surfaces give equal bytes.
func WriteGLB(w io.Writer, m *geom.Mesh, title string) error {
	doc := gltf.NewDocument()
	doc.Asset.Generator = "layette"
	shape := &gltf.Primitive{Attributes: gltf.PrimitiveAttributes{gltf.POSITION: modeler.WritePosition(doc, glbPlaces(m))}}
	if len(m.Colours) == len(m.Verts) && len(m.Colours) > 0 {
		shape.Attributes[gltf.COLOR_0] = modeler.WriteColor(doc, glbColours(m))
	}
	index := make([]uint32, 0, 3*len(m.Tris))
	for _, t := range m.Tris {
		index = append(index, uint32(t[0]), uint32(t[1]), uint32(t[2]))
	}
	shape.Indices = gltf.Index(modeler.WriteIndices(doc, index))
	shape.Material = gltf.Index(0)
	doc.Materials = []*gltf.Material{{
		Name: "skin", DoubleSided: true,
		PBRMetallicRoughness: &gltf.PBRMetallicRoughness{MetallicFactor: gltf.Float(0), RoughnessFactor: gltf.Float(0.8)},
	}}
	doc.Meshes = []*gltf.Mesh{{Name: title, Primitives: []*gltf.Primitive{shape}}}
	doc.Nodes = []*gltf.Node{{Name: title, Mesh: gltf.Index(0)}}
	doc.Scenes[0].Nodes = []int{0}
	return gltf.NewEncoder(w).Encode(doc)
}

// glbPlaces returns the vertices in metres, +Y up, +Z to the front.
func glbPlaces(m *geom.Mesh) [][3]float32 {
	out := make([][3]float32, len(m.Verts))
	for i, p := range m.Verts {
		v := p.Vec().Add(m.Origin)
		out[i] = [3]float32{float32(-v.X / 1000), float32(v.Z / 1000), float32(v.Y / 1000)}
	}
	return out
}

// glbColours returns the colours as light, which is what glTF vertex colours
// are, while ours are stored as screens expect them (IEC 61966-2-1, from
// memory).
func glbColours(m *geom.Mesh) [][4]uint16 {
	var light [256]uint16
	for i := range light {
		x := float64(i) / 255
		if x > 0.04045 {
			x = math.Pow((x+0.055)/1.055, 2.4)
		} else {
			x /= 12.92
		}
		light[i] = uint16(float64(x*65535) + 0.5)
	}
	out := make([][4]uint16, len(m.Colours))
	for i, c := range m.Colours {
		out[i] = [4]uint16{light[c[0]], light[c[1]], light[c[2]], uint16(c[3]) * 257}
	}
	return out
}

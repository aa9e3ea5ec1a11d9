package meshio

import (
	"bufio"
	"encoding/binary"
	"fmt"
	"io"
	"math"

	"layette/steps/internal/geom"
)

// WriteSTL writes m as a binary STL in millimetres, each coordinate rounded to
// float32 after the origin is added back, each facet with its unit normal (zero
// for a facet without area). title stands in the first 80 bytes, cut there; it
// must not begin with "solid", which some readers take for text. Equal surfaces
// and titles give equal bytes.
func WriteSTL(w io.Writer, m *geom.Mesh, title string) error {
	if len(m.Tris) > math.MaxUint32 {
		return fmt.Errorf("%d triangles are more than an STL can count", len(m.Tris))
	}
	var head [stlHead]byte
	copy(head[:80], title)
	binary.LittleEndian.PutUint32(head[80:], uint32(len(m.Tris)))
	out := bufio.NewWriterSize(w, 1<<17)
	out.Write(head[:])
	row := make([]byte, 0, stlFacet)
	for t := range m.Tris {
		row = appendFacet(row[:0], m, t)
		out.Write(row)
	}
	return out.Flush() // bufio keeps the first error
}

// appendFacet appends the facet of triangle t.
func appendFacet(row []byte, m *geom.Mesh, t int) []byte {
	a, b, c := m.Corners(t)
	row = appendPoint(row, b.Sub(a).Cross(c.Sub(a)).Unit().Point())
	for _, v := range [3]geom.Vec{a, b, c} {
		row = appendPoint(row, v.Add(m.Origin).Point())
	}
	return append(row, 0, 0)
}

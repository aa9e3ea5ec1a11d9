package meshio

import (
	"bufio"
	"encoding/binary"
	"fmt"
	"io"
	"math"
	"strings"

	"layette/steps/internal/geom"
)

// WritePLY writes m as a binary little-endian PLY, with normals, colours and
// seen counts where m has them and the columns as further float properties.
// Coordinates are float32 with the origin added back; where that would lose
// the last bits, far from zero, they are written as double. Equal surfaces
// give equal bytes. A name of a column is one word.
func WritePLY(w io.Writer, m *geom.Mesh, columns ...Column) error {
	for _, c := range columns {
		if len(c.Values) != len(m.Verts) || c.Name == "" || strings.ContainsAny(c.Name, " \t\r\n") {
			return fmt.Errorf("column %q: %d values for %d vertices", c.Name, len(c.Values), len(m.Verts))
		}
	}
	p := &plyWriter{m: m, columns: columns, double: m.Origin != geom.Vec{}}
	out := bufio.NewWriterSize(w, 1<<17)
	out.WriteString(p.head())
	var row []byte
	for i := range m.Verts {
		row = p.vertex(row[:0], i)
		out.Write(row)
	}
	for _, t := range m.Tris {
		row = append(row[:0], 3)
		for _, i := range t {
			row = binary.LittleEndian.AppendUint32(row, uint32(i))
		}
		out.Write(row)
	}
	return out.Flush() // bufio keeps the first error
}

type plyWriter struct {
	m       *geom.Mesh
	columns []Column
	double  bool
}

func (p *plyWriter) head() string {
	var b strings.Builder
	kind := "float"
	if p.double {
		kind = "double"
	}
	fmt.Fprintf(&b, "ply\nformat binary_little_endian 1.0\nelement vertex %d\n", len(p.m.Verts))
	fmt.Fprintf(&b, "property %[1]s x\nproperty %[1]s y\nproperty %[1]s z\n", kind)
	if len(p.m.Normals) > 0 {
		b.WriteString("property float nx\nproperty float ny\nproperty float nz\n")
	}
	if len(p.m.Colours) > 0 {
		b.WriteString("property uchar red\nproperty uchar green\nproperty uchar blue\nproperty uchar alpha\n")
	}
	if len(p.m.Seen) > 0 {
		b.WriteString("property ushort seen\n")
	}
	for _, c := range p.columns {
		fmt.Fprintf(&b, "property float %s\n", c.Name)
	}
	fmt.Fprintf(&b, "element face %d\nproperty list uchar int vertex_indices\nend_header\n", len(p.m.Tris))
	return b.String()
}

// vertex appends the row of vertex i.
func (p *plyWriter) vertex(row []byte, i int) []byte {
	m := p.m
	if p.double {
		v := m.Verts[i].Vec().Add(m.Origin)
		for _, x := range [3]float64{v.X, v.Y, v.Z} {
			row = binary.LittleEndian.AppendUint64(row, math.Float64bits(x))
		}
	} else {
		row = appendPoint(row, m.Verts[i])
	}
	if len(m.Normals) > 0 {
		row = appendPoint(row, m.Normals[i])
	}
	if len(m.Colours) > 0 {
		row = append(row, m.Colours[i][:]...)
	}
	if len(m.Seen) > 0 {
		row = binary.LittleEndian.AppendUint16(row, m.Seen[i])
	}
	for _, c := range p.columns {
		row = binary.LittleEndian.AppendUint32(row, math.Float32bits(c.Values[i]))
	}
	return row
}

func appendPoint(row []byte, p geom.Point) []byte {
	for _, x := range p {
		row = binary.LittleEndian.AppendUint32(row, math.Float32bits(x))
	}
	return row
}

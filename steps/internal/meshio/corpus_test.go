package meshio

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"math"
	"strings"
	"testing"

	"layette/steps/internal/geom"
)

// box is a closed box of 20 x 30 x 40 mm: 8 vertices, 12 triangles.
func box() *geom.Mesh {
	m := &geom.Mesh{}
	for i := range 8 {
		m.Verts = append(m.Verts, geom.Point{float32(i >> 2 * 20), float32(i >> 1 & 1 * 30), float32(i & 1 * 40)})
	}
	for _, q := range [][4]int32{{0, 1, 3, 2}, {4, 6, 7, 5}, {0, 4, 5, 1}, {2, 3, 7, 6}, {0, 2, 6, 4}, {1, 5, 7, 3}} {
		m.Tris = append(m.Tris, geom.Tri{q[0], q[1], q[2]}, geom.Tri{q[0], q[2], q[3]})
	}
	return m
}

// bumpy is a patch of n x n quads, no two vertices alike.
func bumpy(n int) *geom.Mesh {
	m := &geom.Mesh{}
	for i := range n + 1 {
		for j := range n + 1 {
			m.Verts = append(m.Verts, geom.Point{float32(i) * 0.1, float32(j) * 0.1, float32(math.Sin(float64(i*7+j*3)) * 0.02)})
			if i < n && j < n {
				p := int32(i*(n+1) + j)
				m.Tris = append(m.Tris, geom.Tri{p, p + int32(n) + 2, p + 1}, geom.Tri{p, p + int32(n) + 1, p + int32(n) + 2})
			}
		}
	}
	return m
}

// textSTLOf writes m as an STL in words.
func textSTLOf(m *geom.Mesh) []byte {
	var b bytes.Buffer
	b.WriteString("solid part\n")
	for t := range m.Tris {
		b.WriteString("facet normal 0 0 0\nouter loop\n")
		for _, i := range m.Tris[t] {
			v := m.Verts[i]
			fmt.Fprintf(&b, "vertex %v %v %v\n", v[0], v[1], v[2])
		}
		b.WriteString("endloop\nendfacet\n")
	}
	b.WriteString("endsolid part\n")
	return b.Bytes()
}

func plyOf(t testing.TB, m *geom.Mesh, columns ...Column) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := WritePLY(&b, m, columns...); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func stlOf(t testing.TB, m *geom.Mesh) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := WriteSTL(&b, m, "box, millimetres"); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

const boxVerts = "0 0 0\n0 0 40\n0 30 0\n0 30 40\n20 0 0\n20 0 40\n20 30 0\n20 30 40\n"

// plyText is a box with everything a head may say: comments, normals, colours,
// a quality, a list before and after the one that matters, an element more.
var plyText = "ply\nformat ascii 1.0\ncomment a box\nobj_info left arm\nelement vertex 8\nproperty float x\nproperty float y\nproperty float z\n" +
	"property uchar red\nproperty uchar green\nproperty uchar blue\nproperty float quality\nelement face 6\nproperty uchar flags\n" +
	"property list uchar int vertex_indices\nproperty list uchar float texcoord\nelement edge 1\nproperty int a\nend_header\n" +
	strings.ReplaceAll(boxVerts, "\n", " 200 180 170 0.5\n") +
	"7 4 0 1 3 2 2 0.5 0.5\n7 4 4 6 7 5 0\n7 4 0 4 5 1 0\n7 4 2 3 7 6 0\n7 4 0 2 6 4 0\n7 4 1 5 7 3 1 0\n9\n"

var objText = "# a box\nmtllib x.mtl\no arm\n" + "v " + strings.ReplaceAll(strings.TrimSpace(boxVerts), "\n", "\nv ") +
	"\nvn 0 0 1\nf 1//1 2//1 4//1 3//1\nf -4 -2 -1 -3 # by counting back\nf 1 5 \\\n 6 2\nf 3/1 4/1 8/1 7/1\nf 1 3 7 5\nf 2 6 8 4\n"

var offText = "OFF # a box\n8 6 0\n" + boxVerts + "4 0 1 3 2\n4 4 6 7 5 0.1 0.2 0.3\n\n4 0 4 5 1\n4 2 3 7 6\n4 0 2 6 4\n4 1 5 7 3\n"

// plyBig is the box as a big-endian PLY with doubles and short list counts.
func plyBig() []byte {
	var b bytes.Buffer
	b.WriteString("ply\r\nformat binary_big_endian 1.0\r\nelement vertex 8\r\nproperty double x\r\nproperty double y\r\nproperty double z\r\n" +
		"element face 12\r\nproperty list ushort uint vertex_index\r\nend_header\r\n")
	m := box()
	for _, v := range m.Verts {
		binary.Write(&b, binary.BigEndian, [3]float64{float64(v[0]), float64(v[1]), float64(v[2])})
	}
	for _, t := range m.Tris {
		binary.Write(&b, binary.BigEndian, uint16(3))
		binary.Write(&b, binary.BigEndian, t)
	}
	return b.Bytes()
}

var plyFacesFirst = "ply\nformat ascii 1.0\nelement face 6\nproperty list uchar int vertex_indices\nelement vertex 8\nproperty float x\nproperty float y\nproperty float z\nend_header\n" +
	"4 0 1 3 2\n4 4 6 7 5\n4 0 4 5 1\n4 2 3 7 6\n4 0 2 6 4\n4 1 5 7 3\n" + boxVerts

// plyBytesFacesFirst is the box in bytes, faces first.
func plyBytesFacesFirst() []byte {
	var b bytes.Buffer
	b.WriteString("ply\nformat binary_little_endian 1.0\nelement face 12\nproperty list uchar int vertex_indices\nelement vertex 8\nproperty float x\nproperty float y\nproperty float z\nend_header\n")
	m := box()
	for _, t := range m.Tris {
		b.WriteByte(3)
		binary.Write(&b, binary.LittleEndian, t)
	}
	binary.Write(&b, binary.LittleEndian, m.Verts)
	return b.Bytes()
}

// boxes is the box in every format and many dialects.
func boxes(t testing.TB) map[string][]byte {
	stl, text := stlOf(t, box()), string(textSTLOf(box()))
	solid := bytes.Clone(stl)
	copy(solid, "solid part                     ")
	coloured := bytes.Clone(stl)
	binary.LittleEndian.PutUint16(coloured[stlHead+48:], 0xffff)
	lf := func(s string, end string) []byte { return []byte(strings.ReplaceAll(s, "\n", end)) }
	return map[string][]byte{
		"binary STL": stl, "binary STL called solid": solid, "binary STL with colours": coloured,
		"STL": []byte(text), "STL CR LF": lf(text, "\r\n"), "STL CR": lf(text, "\r"),
		"STL in capitals": []byte(strings.ToUpper(text)), "STL with a mark": []byte(bom + text),
		"STL with tabs": []byte(strings.ReplaceAll(text, " ", "\t")), "STL on one line": []byte("solid\n" + strings.ReplaceAll(text[11:], "\n", " ")),
		"PLY": plyOf(t, box()), "PLY text": []byte(plyText), "PLY text CR LF": lf(plyText, "\r\n"), "PLY text CR": lf(plyText, "\r"),
		"PLY big": plyBig(), "OBJ": []byte(objText), "OBJ CR LF": lf(objText, "\r\n"), "OBJ CR": lf(objText, "\r"),
		"PLY text, faces first": []byte(plyFacesFirst), "PLY, faces first": plyBytesFacesFirst(),
		"OBJ without a last line end": []byte(strings.TrimSpace(objText)),
		"OFF":                         []byte(offText), "OFF in one line with its counts": []byte(strings.Replace(offText, "OFF # a box\n", "\t OFF", 1)),
	}
}

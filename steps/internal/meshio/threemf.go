package meshio

import (
	"archive/zip"
	"bytes"
	"errors"
	"fmt"
	"io"

	"github.com/hpinc/go3mf"

	"layette/steps/internal/geom"
)

// Named is a surface with the name it goes by in a file of several.
type Named struct {
	Name string
	Mesh *geom.Mesh
}

// WriteThreeMF writes surfaces as objects of one 3MF file in millimetres, each
// by its name and standing where its coordinates say. Equal surfaces give equal
// bytes: the packing's time stamps are taken out.
//
// The format is the 3MF Core Specification's (3MF Consortium), which asks for
// closed surfaces that turn counter-clockwise seen from outside; a surface
// without triangles is refused, the rest is the caller's to know. Coordinates
// are written to four decimals, 0.1 µm.
func WriteThreeMF(w io.Writer, pieces []Named) error {
	if len(pieces) == 0 {
		return errors.New("a 3MF file needs a piece")
	}
	model := &go3mf.Model{Units: go3mf.UnitMillimeter, Language: "en"}
	for i, p := range pieces {
		if len(p.Mesh.Tris) == 0 {
			return fmt.Errorf("%s has no triangles", p.Name)
		}
		id := uint32(i + 1)
		model.Resources.Objects = append(model.Resources.Objects, &go3mf.Object{ID: id, Name: p.Name, Mesh: threeMF(p.Mesh)})
		model.Build.Items = append(model.Build.Items, &go3mf.Item{ObjectID: id})
	}
	// Named here, the relation keeps the same name in every file.
	model.RootRelationships = []go3mf.Relationship{{ID: "model", Type: go3mf.RelType3DModel, Path: model.PathOrDefault()}}
	var packed bytes.Buffer
	if err := go3mf.NewEncoder(&packed).Encode(model); err != nil {
		return err
	}
	return unstamped(w, packed.Bytes())
}

func threeMF(m *geom.Mesh) *go3mf.Mesh {
	out := &go3mf.Mesh{}
	out.Vertices.Vertex = make([]go3mf.Point3D, len(m.Verts))
	for i, p := range m.Verts {
		out.Vertices.Vertex[i] = go3mf.Point3D(p.Vec().Add(m.Origin).Point())
	}
	out.Triangles.Triangle = make([]go3mf.Triangle, len(m.Tris))
	for i, t := range m.Tris {
		out.Triangles.Triangle[i] = go3mf.Triangle{V1: uint32(t[0]), V2: uint32(t[1]), V3: uint32(t[2])}
	}
	return out
}

// contentTypes is the packing's list of what its parts are. The library writes
// the same two lines in an order that changes from run to run.
const contentTypes = `<?xml version="1.0" encoding="UTF-8"?>
<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types">
<Default Extension="model" ContentType="application/vnd.ms-package.3dmanufacturing-3dmodel+xml"/>
<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>
</Types>
`

// unstamped copies a packed file without its times and with its list of parts
// in one order.
func unstamped(w io.Writer, packed []byte) error {
	in, err := zip.NewReader(bytes.NewReader(packed), int64(len(packed)))
	if err != nil {
		return err
	}
	out := zip.NewWriter(w)
	for _, f := range in.File {
		if f.Name == "[Content_Types].xml" {
			to, err := out.CreateHeader(&zip.FileHeader{Name: f.Name, Method: zip.Deflate})
			if err != nil {
				return err
			}
			if _, err := io.WriteString(to, contentTypes); err != nil {
				return err
			}
			continue
		}
		if err := copyRaw(out, f); err != nil {
			return err
		}
	}
	return out.Close()
}

// copyRaw copies one part as it is packed.
func copyRaw(out *zip.Writer, f *zip.File) error {
	to, err := out.CreateRaw(&zip.FileHeader{
		Name: f.Name, Method: f.Method, Flags: f.Flags, CRC32: f.CRC32,
		CompressedSize64: f.CompressedSize64, UncompressedSize64: f.UncompressedSize64,
	})
	if err != nil {
		return err
	}
	from, err := f.OpenRaw()
	if err != nil {
		return err
	}
	_, err = io.Copy(to, from)
	return err
}

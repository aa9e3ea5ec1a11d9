// Package meshio turns bytes into surfaces and surfaces into bytes. What a
// file is shows from its content, never from its name:
//
//	STL   binary and text
//	PLY   text and both binary orders; triangles, polygons, points, range grids
//	OBJ   vertices, colours and faces
//	OFF   with normals, colours and comments
//
// A damaged file is refused with a sentence that names the place (byte, line or
// triangle) and the cause; the caller adds the file's name. What is odd but can
// only mean one thing is read, and Info.Notes says so. No count in a file is
// believed before that many bytes have been seen: memory is bounded by the
// file's size.
package meshio

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"strings"

	"layette/steps/internal/geom"
)

// Options say how a surface is to be read.
type Options struct {
	Scale   float64  // mm for each unit of the file; 0 means 1
	Workers int      // goroutines at most; the result does not depend on it
	Columns []string // PLY: further numbers per vertex to read, by property name
}

// Info is what a file was, beside the surface in it.
type Info struct {
	Format    string // such as "binary STL"
	Triangles int    // in the file, before any was left out
	Points    int    // in the file; three for each triangle of an STL
	// Notes are sentences about what was odd but was read rightly.
	Notes []string
	// NotFinite counts triangles left out because a corner is not a number or
	// is infinite; Where lists the first of them, counted from 1.
	NotFinite int
	Where     []int
	// PointsNotFinite counts points left out for the same reason.
	PointsNotFinite int
	Joined          int // vertices that lay exactly on an earlier one and were made one with it
	Columns         []Column
}

// Column is one number for each vertex, such as a value to be shown in colour.
type Column struct {
	Name   string
	Values []float32 // #V
}

// Listed is how many triangles Info.Where names at most.
const Listed = 1000

// errEmpty is what a file with nothing in it gets.
var errEmpty = errors.New("the file is empty: not one byte; export it again")

// Read reads a surface of any known format from the size bytes of r.
//
// Coordinates are multiplied by Options.Scale and stored as float32; axes on
// which the whole surface lies far from zero are moved near it first and the
// move kept in Mesh.Origin (see origin). Vertices at exactly the same place are
// joined wherever the file has triangles: STL has no other way to say so, and
// other formats part vertices for the sake of pictures. Polygons become
// triangles. Triangles with a corner that is not finite are left out and
// listed. A file of points alone gives a mesh without triangles.
//
// Cost: about 0.3 s for a binary STL of two million triangles over two workers.
func Read(ctx context.Context, r io.ReaderAt, size int64, opt Options) (*geom.Mesh, Info, error) {
	if opt.Scale == 0 {
		opt.Scale = 1
	}
	if size == 0 {
		return nil, Info{}, errEmpty
	}
	head := make([]byte, min(size, 4096))
	if _, err := r.ReadAt(head, 0); err != nil && err != io.EOF {
		return nil, Info{}, err
	}
	var info Info
	mesh, err := read(ctx, r, size, head, opt, &info)
	if ctx.Err() != nil {
		return nil, info, context.Cause(ctx)
	}
	if err != nil {
		return nil, info, err
	}
	if len(mesh.Verts) == 0 {
		return nil, info, fmt.Errorf("this %s holds no points and no triangles%s", info.Format, info.whyEmpty())
	}
	return mesh, info, nil
}

func (i *Info) whyEmpty() string {
	if i.NotFinite > 0 || i.PointsNotFinite > 0 {
		return " with finite coordinates: every one is NaN or infinite"
	}
	return "; export it again"
}

func (i *Info) note(format string, args ...any) {
	i.Notes = append(i.Notes, fmt.Sprintf(format, args...))
}

// read looks at the file's head and hands it to the reader of its format.
func read(ctx context.Context, r io.ReaderAt, size int64, head []byte, opt Options, info *Info) (*geom.Mesh, error) {
	if facets, ok := exactSTL(head, size); ok && facets > 0 {
		return readSTL(ctx, r, size, head, opt, info)
	}
	text := bytes.TrimPrefix(head, []byte(bom))
	src := &source{ctx: ctx, r: r, size: size, at: int64(len(head) - len(text))}
	var raw *raw
	var err error
	switch kind := recognise(text); {
	case kind == "PLY":
		raw, err = readPLY(src, opt, info)
	case kind == "OFF":
		info.Format = "OFF"
		raw, err = readOFF(newLines(src))
	case bytes.IndexByte(head, 0) >= 0:
		if what := stranger(head); what != "" {
			return nil, fmt.Errorf("this is %s, not a surface in STL, PLY, OBJ or OFF", what)
		}
		return readSTL(ctx, r, size, head, opt, info)
	case kind == "STL":
		info.Format = "STL as text"
		raw, err = readTextSTL(newLines(src), info)
	case kind == "OBJ":
		info.Format = "OBJ"
		raw, err = readOBJ(newLines(src), info)
	default:
		return nil, unknown(head)
	}
	if err != nil {
		return nil, err
	}
	return raw.mesh(ctx, opt, info)
}

const bom = "\xef\xbb\xbf"

// recognise names the text format that head begins, or "".
func recognise(head []byte) string {
	if b := bytes.TrimLeft(head, " \t"); bytes.HasPrefix(b, []byte("ply")) && len(b) > 3 && (b[3] == '\n' || b[3] == '\r') {
		return "PLY"
	}
	for line := range bytes.FieldsFuncSeq(head, func(c rune) bool { return c == '\n' || c == '\r' }) {
		words := bytes.Fields(line)
		if len(words) == 0 {
			continue
		}
		word := strings.ToLower(string(words[0]))
		switch {
		case isOFF(words[0]):
			return "OFF"
		case word[0] == '#':
			if len(word) < len(head) && !bytes.ContainsAny(head, "\r\n") {
				return "OBJ"
			}
			continue
		case word == "solid":
			return "STL"
		case objWords[word]:
			return "OBJ"
		}
		return ""
	}
	if bytes.HasPrefix(bytes.TrimSpace(head), []byte("#")) {
		return "OBJ" // nothing but comments so far
	}
	return ""
}

// strangers are beginnings of files that people mistake for surfaces.
var strangers = []struct{ head, what string }{
	{"PK\x03\x04", "a ZIP archive (a 3MF is one too)"},
	{"\x1f\x8b", "a gzip archive: unpack it first"},
	{"glTF", "a binary glTF scene"},
	{"\x89PNG", "a PNG picture"},
	{"\xff\xd8\xff", "a JPEG picture"},
	{"%PDF", "a PDF document"},
	{"<?xml", "an XML file"},
	{"{", "a JSON file"},
	{"\xff\xfe", "UTF-16 text: save it as UTF-8"},
	{"\xfe\xff", "UTF-16 text: save it as UTF-8"},
}

func stranger(head []byte) string {
	for _, s := range strangers {
		if bytes.HasPrefix(head, []byte(s.head)) {
			return s.what
		}
	}
	return ""
}

func unknown(head []byte) error {
	if what := stranger(head); what != "" {
		return fmt.Errorf("this is %s, not a surface in STL, PLY, OBJ or OFF", what)
	}
	return fmt.Errorf("byte 0: the file begins %q, which is not the beginning of an STL, PLY, OBJ or OFF file", head[:min(len(head), 16)])
}

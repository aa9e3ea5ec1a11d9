package meshio

import (
	"bytes"
	"strings"

	"layette/steps/internal/geom"
)

// objWords are the words a line of an OBJ file may begin with (Wavefront OBJ,
// appendix B1, from memory). Only v and f mean something here.
var objWords = map[string]bool{
	"v": true, "vt": true, "vn": true, "vp": true, "f": true, "fo": true, "l": true, "p": true,
	"o": true, "g": true, "s": true, "mg": true, "mtllib": true, "usemtl": true, "maplib": true, "usemap": true,
	"shadow_obj": true, "trace_obj": true, "cstype": true, "deg": true, "bmat": true, "step": true, "curv": true, "curv2": true,
	"surf": true, "parm": true, "trim": true, "hole": true, "scrv": true, "sp": true, "end": true, "con": true,
	"bevel": true, "c_interp": true, "d_interp": true, "lod": true, "ctech": true, "stech": true, "call": true, "csh": true,
	"cdc": true, "cdp": true, "bzp": true, "bsp": true, "res": true,
}

// objReader reads an OBJ file: vertices with or without a colour, faces with
// indices from 1 or, negative, from the end; texture and normal indices are
// passed over. A backslash at the end of a line joins the next to it.
type objReader struct {
	*lines
	raw     *raw
	info    *Info
	corners []int32
	few     int            // faces of fewer than three corners
	other   map[string]int // elements that are not surfaces
}

func readOBJ(l *lines, info *Info) (*raw, error) {
	o := &objReader{lines: l, raw: &raw{}, info: info, other: map[string]int{}}
	for o.nextWords() {
		words := o.words
		if words[0][0] == '#' {
			continue
		}
		if bytes.HasSuffix(o.text, []byte("\\")) || bytes.HasSuffix(bytes.TrimRight(o.text, "\r \t"), []byte("\\")) {
			words = o.continued()
		}
		if err := o.line(words); err != nil {
			return nil, err
		}
	}
	if err := o.err(); err != nil {
		return nil, err
	}
	o.finish()
	return o.raw, nil
}

// continued joins lines while they end in a backslash.
func (o *objReader) continued() [][]byte {
	var whole []byte
	for {
		text := bytes.TrimRight(o.text, "\r \t")
		more := bytes.HasSuffix(text, []byte("\\"))
		whole = append(append(whole, bytes.TrimSuffix(text, []byte("\\"))...), ' ')
		if !more || !o.next() {
			return appendWords(nil, whole)
		}
	}
}

func (o *objReader) line(words [][]byte) error {
	if len(words) == 0 {
		return nil
	}
	switch word := string(words[0]); word {
	case "v":
		return o.vertex(words[1:])
	case "f", "fo":
		return o.face(words[1:])
	case "l", "p", "curv", "curv2", "surf":
		o.other[word]++
	default:
		if !objWords[strings.ToLower(word)] {
			return o.errorf("%q is not a word that begins a line of an OBJ file", short(words[0]))
		}
	}
	return nil
}

// vertex reads x y z, x y z w, or x y z red green blue with or without alpha.
func (o *objReader) vertex(words [][]byte) error {
	if len(words) < 3 {
		return o.errorf("a vertex needs three coordinates")
	}
	var v [7]float64
	for i, w := range words[:min(len(words), len(v))] {
		x, err := number(w)
		if err != nil {
			return o.errorf("%w", err)
		}
		v[i] = x
	}
	r := o.raw
	r.pos = append(r.pos, geom.Vec{X: v[0], Y: v[1], Z: v[2]})
	if len(words) < 6 {
		return nil
	}
	for len(r.colours) < len(r.pos)-1 {
		r.colours = append(r.colours, [4]uint8{255, 255, 255, 255})
	}
	r.colours = append(r.colours, [4]uint8{shade(255 * v[3]), shade(255 * v[4]), shade(255 * v[5]), 255})
	return nil
}

func (o *objReader) face(words [][]byte) error {
	o.corners = o.corners[:0]
	for _, w := range words {
		if w[0] == '#' {
			break
		}
		first, _, _ := bytes.Cut(w, []byte("/"))
		i, err := whole(first)
		if err != nil {
			return o.errorf("%w, as a corner of a face", err)
		}
		n := int64(len(o.raw.pos))
		switch {
		case i == 0:
			return o.errorf("a face names vertex 0; OBJ counts from 1")
		case i < 0 && -i <= n:
			i += n + 1
		case i < 0 || i > n:
			return o.errorf("a face names vertex %d, but there are %d so far", i, n)
		}
		o.corners = append(o.corners, int32(i-1))
	}
	if len(o.corners) < 3 {
		o.few++
		return nil
	}
	o.raw.polygon(o.corners)
	return nil
}

func (o *objReader) finish() {
	if o.few > 0 {
		o.info.note("%d faces of fewer than three corners were left out", o.few)
	}
	if n := o.other["l"]; n > 0 {
		o.info.note("%d lines that bound no face were left out", n)
	}
	if n := o.other["curv"] + o.other["curv2"] + o.other["surf"]; n > 0 {
		o.info.note("%d curves and curved surfaces were left out: export triangles", n)
	}
	if r := o.raw; len(r.colours) > 0 {
		for len(r.colours) < len(r.pos) {
			r.colours = append(r.colours, [4]uint8{255, 255, 255, 255})
		}
	}
}

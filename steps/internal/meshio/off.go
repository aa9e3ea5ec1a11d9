package meshio

import (
	"bytes"
	"errors"
	"regexp"

	"layette/steps/internal/geom"
)

// offHead is the first word of an OFF file, which tells what stands behind
// each position: texture, colours, normals (Geomview's OFF, from memory).
var offHead = regexp.MustCompile(`^(ST)?(C)?(N)?OFF`)

func isOFF(word []byte) bool { return offHead.Match(word) }

// offReader reads an OFF file: words, with comments after #. Colours are passed over.
type offReader struct {
	*lines
	rest [][]byte // of the line
}

func readOFF(l *lines) (*raw, error) {
	o := &offReader{lines: l}
	if err := o.line(); err != nil {
		return nil, err
	}
	head := offHead.Find(o.rest[0])
	hasNormals := bytes.Contains(head, []byte("N"))
	if o.rest[0] = o.rest[0][len(head):]; len(o.rest[0]) == 0 {
		o.rest = o.rest[1:]
	}
	if len(o.rest) > 0 && is(o.rest[0], "BINARY") {
		return nil, o.errorf("binary OFF is not read: export it as text, or as STL or PLY")
	}
	if len(o.rest) == 0 {
		if err := o.line(); err != nil {
			return nil, err
		}
	}
	verts, faces, err := o.counts()
	if err != nil {
		return nil, err
	}
	r := &raw{}
	for range verts {
		if err := o.vertex(r, hasNormals); err != nil {
			return nil, err
		}
	}
	for range faces {
		if err := o.face(r); err != nil {
			return nil, err
		}
	}
	return r, o.err()
}

// line moves on to the next line with words before any comment.
func (o *offReader) line() error {
	for o.nextWords() {
		o.rest = o.words
		for i, w := range o.rest {
			if k := bytes.IndexByte(w, '#'); k == 0 {
				o.rest = o.rest[:i]
				break
			} else if k > 0 {
				o.rest = append(o.rest[:i:i], w[:k])
				break
			}
		}
		if len(o.rest) > 0 {
			return nil
		}
	}
	if err := o.err(); err != nil {
		return err
	}
	return o.errorf("%w", errEnds)
}

func (o *offReader) counts() (verts, faces int64, err error) {
	if len(o.rest) < 2 {
		return 0, 0, o.errorf("the counts of vertices and faces should stand here")
	}
	if verts, err = whole(o.rest[0]); err == nil {
		faces, err = whole(o.rest[1])
	}
	if err != nil {
		return 0, 0, o.errorf("%w", err)
	}
	if verts < 0 || faces < 0 {
		return 0, 0, o.errorf("a count below zero")
	}
	return verts, faces, nil
}

func (o *offReader) vertex(r *raw, hasNormals bool) error {
	if err := o.line(); err != nil {
		return err
	}
	n := 3
	if hasNormals {
		n = 6
	}
	if len(o.rest) < n {
		return o.errorf("a vertex needs %d numbers, %d stand here", n, len(o.rest))
	}
	var v [6]float64
	for i := range n {
		x, err := number(o.rest[i])
		if err != nil {
			return o.errorf("%w", err)
		}
		v[i] = x
	}
	r.pos = append(r.pos, geom.Vec{X: v[0], Y: v[1], Z: v[2]})
	if hasNormals {
		r.normals = append(r.normals, geom.Point{float32(v[3]), float32(v[4]), float32(v[5])})
	}
	return nil
}

func (o *offReader) face(r *raw) error {
	if err := o.line(); err != nil {
		return err
	}
	n, err := whole(o.rest[0])
	if err == nil && (n < 0 || n >= int64(len(o.rest))) {
		err = errors.New("the face has fewer corners than it says")
	}
	if err != nil {
		return o.errorf("%w", err)
	}
	corners := make([]int32, 0, 8)
	for _, w := range o.rest[1 : n+1] {
		i, err := whole(w)
		if err != nil {
			return o.errorf("%w", err)
		}
		if i < 0 || i >= int64(len(r.pos)) {
			return o.errorf("a face names vertex %d, but there are %d, counted from 0", i, len(r.pos))
		}
		corners = append(corners, int32(i))
	}
	if len(corners) >= 3 {
		r.polygon(corners)
	}
	return nil
}

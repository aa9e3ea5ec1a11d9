package meshio

import (
	"bytes"

	"layette/steps/internal/geom"
)

// textSTL reads an STL in words. Keywords may be in capitals; line ends mean
// nothing except after "solid" and "endsolid", where a name may follow.
type textSTL struct {
	*lines
	at          int // next word of the line
	info        *Info
	raw         *raw
	facetsBegun int
}

func readTextSTL(l *lines, info *Info) (*raw, error) {
	p := &textSTL{lines: l, info: info, raw: &raw{loose: true}}
	for {
		word, ok := p.word()
		if !ok {
			return p.raw, p.err()
		}
		if !is(word, "solid") {
			return nil, p.errorf("%q where a solid should begin", short(word))
		}
		p.at = len(p.words) // the rest of the line is the name
		if err := p.facets(); err != nil {
			return nil, err
		}
	}
}

// word returns the next word of the file.
func (p *textSTL) word() ([]byte, bool) {
	if p.at >= len(p.words) {
		if !p.nextWords() {
			return nil, false
		}
		p.at = 0
	}
	p.at++
	return p.words[p.at-1], true
}

func is(word []byte, keyword string) bool { return bytes.EqualFold(word, []byte(keyword)) }

// facets reads up to the end of a solid.
func (p *textSTL) facets() error {
	for {
		word, ok := p.word()
		switch {
		case !ok:
			if p.err() == nil {
				p.info.note("the last solid has no endsolid line, but its %d triangles are whole", len(p.raw.pos)/3)
			}
			return p.err()
		case is(word, "endsolid"):
			p.at = len(p.words)
			return nil
		case is(word, "solid"):
			return p.errorf("a solid begins inside a solid: the endsolid line is missing")
		case !is(word, "facet"):
			return p.errorf("%q where a facet or endsolid should stand", short(word))
		}
		p.facetsBegun++
		if err := p.facet(); err != nil {
			return err
		}
	}
}

// facet reads what follows the word "facet". The normal is read and forgotten:
// the order of the corners says the same, and is always there.
func (p *textSTL) facet() error {
	if err := p.expect("normal"); err != nil {
		return err
	}
	if _, err := p.vector(); err != nil {
		return err
	}
	if err := p.expect("outer", "loop"); err != nil {
		return err
	}
	for range 3 {
		if err := p.expect("vertex"); err != nil {
			return err
		}
		v, err := p.vector()
		if err != nil {
			return err
		}
		p.raw.pos = append(p.raw.pos, v)
	}
	return p.expect("endloop", "endfacet")
}

func (p *textSTL) expect(keywords ...string) error {
	for _, k := range keywords {
		word, ok := p.word()
		if !ok {
			return p.early()
		}
		if !is(word, k) {
			return p.errorf("%q where %q should stand, in triangle %d", short(word), k, p.facetsBegun)
		}
	}
	return nil
}

func (p *textSTL) early() error {
	if err := p.err(); err != nil {
		return err
	}
	return p.errorf("the file ends inside triangle %d; export or copy it again", p.facetsBegun)
}

func (p *textSTL) vector() (geom.Vec, error) {
	var v [3]float64
	for i := range v {
		word, ok := p.word()
		if !ok {
			return geom.Vec{}, p.early()
		}
		x, err := number(word)
		if err != nil {
			return geom.Vec{}, p.errorf("%w, in triangle %d", err, p.facetsBegun)
		}
		v[i] = x
	}
	return geom.Vec{X: v[0], Y: v[1], Z: v[2]}, nil
}

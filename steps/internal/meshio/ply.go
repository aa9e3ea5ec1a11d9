package meshio

import (
	"bufio"
	"context"
	"fmt"
	"math"
	"slices"
	"strconv"

	"layette/steps/internal/geom"
)

// readPLY reads a PLY file. Elements and properties that mean nothing here are
// passed over; vertices give positions, normals, colours, seen counts and the
// columns that were asked for; faces are cut into triangles; a range grid
// becomes triangles as grid.go says. A file that lists faces before the vertices
// they name is read twice.
func readPLY(src *source, opt Options, info *Info) (*raw, error) {
	p := &plyReader{src: src, info: info, raw: &raw{}, want: opt.Columns}
	if err := p.open(); err != nil {
		return nil, err
	}
	if p.head.facesFirst() {
		p.passing = func(name string) bool { return name != "vertex" }
		if err := p.elements(); err != nil {
			return nil, err
		}
		p.passing = func(name string) bool { return name == "vertex" }
		if err := p.open(); err != nil {
			return nil, err
		}
	}
	if err := p.elements(); err != nil {
		return nil, err
	}
	return p.raw, p.finish()
}

// open reads the head, from the file's beginning.
func (p *plyReader) open() (err error) {
	p.src.at = 0
	buf := bufio.NewReaderSize(p.src, 1<<17)
	if p.head, err = readPLYHead(buf, p.src.size); err != nil {
		return err
	}
	h := p.head
	if h.order == "ascii" {
		p.info.Format = "PLY as text"
		l := linesOf(buf, p.src.size, h.end)
		l.n = h.lines
		p.rows = &textRows{lines: l}
	} else {
		p.info.Format = "binary PLY"
		p.rows = &binaryRows{r: buf, at: h.bytes, big: h.order == "binary_big_endian", left: p.src.size - h.bytes}
	}
	return nil
}

func (p *plyReader) elements() error {
	for i := range p.head.elements {
		if err := p.element(&p.head.elements[i]); err != nil {
			return err
		}
	}
	return nil
}

// plyRows gives the numbers of a PLY body, row after row.
type plyRows interface {
	// row reads the next row of e: one number for each plain property, in
	// nums; the numbers of property list, if that is not -1, in items.
	row(e *plyElement, list int, nums, items []float64) ([]float64, error)
	// where names the place of the row just read, for messages.
	where() string
}

type plyReader struct {
	src  *source
	head *plyHead
	rows plyRows
	info *Info
	raw  *raw
	want []string
	grid []int32 // range grid: vertex of each cell, or -1
	few  int     // faces of fewer than three corners
	face []int32 // corners of the face being read
	// passing says which elements are passed over in this reading; nil for none.
	passing func(name string) bool
}

func (p *plyReader) element(e *plyElement) error {
	list := -1
	take := func([]float64, []float64) error { return nil }
	switch {
	case p.passing != nil && p.passing(e.name):
	case e.name == "vertex":
		take = p.vertices(e)
		if take == nil {
			return fmt.Errorf("the vertex element of the PLY file lacks one of the properties x, y and z")
		}
	case e.name == "face":
		if list = e.prop("vertex_indices", "vertex_index"); list >= 0 && e.props[list].count != none {
			take = p.polygon
			p.raw.tris = slices.Grow(p.raw.tris, int(e.count))
		}
	case e.name == "range_grid":
		if list = e.prop("vertex_indices", "vertex_index"); list >= 0 && e.props[list].count != none {
			take = p.cell
		}
	}
	if len(e.props) == 0 {
		return nil // nothing in the file, however many are promised
	}
	nums := make([]float64, len(e.props))
	var items []float64
	var err error
	for i := range e.count {
		if i&0xfff == 0 && p.src.ctx.Err() != nil {
			return context.Cause(p.src.ctx)
		}
		if items, err = p.rows.row(e, list, nums, items); err != nil {
			return fmt.Errorf("%s: %w, in %s %d of %d", p.rows.where(), err, e.name, i+1, e.count)
		}
		if err = take(nums, items); err != nil {
			return fmt.Errorf("%s: %s %d of %d %w", p.rows.where(), e.name, i+1, e.count, err)
		}
	}
	return nil
}

// vertices returns what takes a row of the vertex element, or nil if it has no
// positions.
func (p *plyReader) vertices(e *plyElement) func([]float64, []float64) error {
	x, y, z := e.plain("x"), e.plain("y"), e.plain("z")
	if x < 0 || y < 0 || z < 0 {
		return nil
	}
	r := p.raw
	r.pos = slices.Grow(r.pos, int(e.count)) // the head was checked against the file's size
	nx, ny, nz := e.plain("nx"), e.plain("ny"), e.plain("nz")
	red, green, blue, alpha := e.plain("red", "diffuse_red"), e.plain("green", "diffuse_green"), e.plain("blue", "diffuse_blue"), e.plain("alpha")
	seen := e.plain("seen")
	var cols []int
	for _, name := range p.want {
		if c := e.plain(name); c >= 0 {
			cols = append(cols, c)
			r.columns = append(r.columns, Column{Name: name})
		}
	}
	return func(v, _ []float64) error {
		r.pos = append(r.pos, geom.Vec{X: v[x], Y: v[y], Z: v[z]})
		if nx >= 0 && ny >= 0 && nz >= 0 {
			r.normals = append(r.normals, geom.Point{float32(v[nx]), float32(v[ny]), float32(v[nz])})
		}
		if red >= 0 && green >= 0 && blue >= 0 {
			c := [4]uint8{e.shade(v, red), e.shade(v, green), e.shade(v, blue), 255}
			if alpha >= 0 {
				c[3] = e.shade(v, alpha)
			}
			r.colours = append(r.colours, c)
		}
		if seen >= 0 {
			r.seen = append(r.seen, uint16(min(max(v[seen], 0), math.MaxUint16)))
		}
		for i, c := range cols {
			r.columns[i].Values = append(r.columns[i].Values, float32(v[c]))
		}
		return nil
	}
}

// plain returns the place of the first property with one of the names that is
// not a list, or -1.
func (e *plyElement) plain(names ...string) int {
	return slices.IndexFunc(e.props, func(p plyProp) bool { return p.count == none && slices.Contains(names, p.name) })
}

// shade returns a colour as a byte: whole numbers stand for themselves, floats
// run from 0 to 1.
func (e *plyElement) shade(v []float64, i int) uint8 {
	x := v[i]
	if e.props[i].kind >= f32 {
		x *= 255
	}
	return shade(x)
}

// shade rounds x to a byte; what is not a number is 0.
func shade(x float64) uint8 {
	if !(x > 0) {
		return 0
	}
	return uint8(math.Round(min(x, 255)))
}

func (p *plyReader) polygon(_, items []float64) error {
	if len(items) < 3 {
		p.few++
		return nil
	}
	corners, err := p.indices(items)
	if err != nil {
		return err
	}
	p.raw.polygon(corners)
	return nil
}

// indices checks items against the vertices, if they came before.
func (p *plyReader) indices(items []float64) ([]int32, error) {
	p.face = p.face[:0]
	for _, x := range items {
		if x < 0 || x >= float64(len(p.raw.pos)) || x != math.Trunc(x) {
			return nil, fmt.Errorf("names vertex %s, but there are %d, counted from 0", strconv.FormatFloat(x, 'f', -1, 64), len(p.raw.pos))
		}
		p.face = append(p.face, int32(x))
	}
	return p.face, nil
}

func (p *plyReader) cell(_, items []float64) error {
	if len(items) == 0 {
		p.grid = append(p.grid, -1)
		return nil
	}
	corners, err := p.indices(items[:1])
	if err != nil {
		return err
	}
	p.grid = append(p.grid, corners[0])
	return nil
}

// finish makes triangles of a range grid and says what was odd.
func (p *plyReader) finish() error {
	if p.few > 0 {
		p.info.note("%d faces of fewer than three corners were left out", p.few)
	}
	if b, ok := p.rows.(*binaryRows); ok && b.left > 0 {
		p.info.note("the last %d of the file's bytes, after the last element, were passed over", b.left)
	}
	if t, ok := p.rows.(*textRows); ok {
		t.leftovers(p.info)
		if !p.src.endsLine() {
			p.info.note("the last line has no end: if the file was cut off there, its last number is not whole")
		}
	}
	if p.grid == nil {
		return nil
	}
	if p.head.cols < 1 || p.head.rows < 1 || p.head.cols > int64(len(p.grid)) || p.head.rows > int64(len(p.grid)) || p.head.cols*p.head.rows != int64(len(p.grid)) {
		return fmt.Errorf("the range grid has %d cells, but obj_info says %d columns and %d rows", len(p.grid), p.head.cols, p.head.rows)
	}
	p.raw.gridTriangles(p.grid, int(p.head.cols), p.info)
	return nil
}

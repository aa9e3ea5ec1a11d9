package meshio

import (
	"bufio"
	"bytes"
	"fmt"
	"slices"
	"strings"
)

// plyHead is what the head of a PLY file promises: G. Turk, "The PLY polygon
// file format", 1994 (from memory).
type plyHead struct {
	order      string // "ascii", "binary_little_endian", "binary_big_endian"
	elements   []plyElement
	cols, rows int64 // of a range grid, from obj_info
	lines      int   // how many the head takes
	bytes      int64
	end        byte // how its lines end: LF or CR
}

type plyElement struct {
	name  string
	count int64
	props []plyProp
}

// plyProp is one property: a number, or a list of numbers behind a count.
type plyProp struct {
	name  string
	kind  plyType
	count plyType // of a list's length; none for a plain number
}

type plyType uint8

const (
	none plyType = iota
	i8
	u8
	i16
	u16
	i32
	u32
	f32
	f64
)

var plyTypes = map[string]plyType{
	"char": i8, "uchar": u8, "short": i16, "ushort": u16, "int": i32, "uint": u32, "float": f32, "double": f64,
	"int8": i8, "uint8": u8, "int16": i16, "uint16": u16, "int32": i32, "uint32": u32, "float32": f32, "float64": f64,
}

var plySize = [...]int64{none: 0, i8: 1, u8: 1, i16: 2, u16: 2, i32: 4, u32: 4, f32: 4, f64: 8}

// facesFirst reports whether faces or a range grid stand before the vertices
// they name.
func (h *plyHead) facesFirst() bool {
	index := func(name string) int {
		return slices.IndexFunc(h.elements, func(e plyElement) bool { return e.name == name && e.count > 0 })
	}
	v, f, g := index("vertex"), index("face"), index("range_grid")
	return f >= 0 && f < v || g >= 0 && g < v
}

// least returns how many bytes an element takes at least: in a text file a
// digit and a blank for each number, in a binary one its plain numbers and
// empty lists.
func (e plyElement) least(text bool) int64 {
	n := int64(0)
	for _, p := range e.props {
		switch {
		case text:
			n += 2
		case p.count != none:
			n += plySize[p.count]
		default:
			n += plySize[p.kind]
		}
	}
	return n
}

// prop returns the place of the first property with one of the names, or -1.
func (e plyElement) prop(names ...string) int {
	return slices.IndexFunc(e.props, func(p plyProp) bool { return slices.Contains(names, p.name) })
}

const maxPlyHead = 1 << 20 // a head beyond a megabyte is no head

// readPLYHead reads up to and with "end_header".
func readPLYHead(r *bufio.Reader, size int64) (*plyHead, error) {
	head, _ := r.Peek(1 << 12)
	h := &plyHead{end: endOfLine(head)}
	if i := bytes.IndexAny(head, "\r\n"); i >= 0 && head[i] == '\r' && i+1 < len(head) && head[i+1] != '\n' {
		h.end = '\r'
	}
	for {
		line, err := r.ReadString(h.end)
		h.bytes += int64(len(line))
		h.lines++
		words := strings.Fields(line)
		if len(words) > 0 && words[0] == "end_header" {
			return h, h.check(size)
		}
		if err != nil || h.bytes > maxPlyHead {
			return nil, fmt.Errorf("line %d: the head of the PLY file does not end: no end_header line", h.lines)
		}
		if err := h.line(words); err != nil {
			return nil, fmt.Errorf("line %d: %w", h.lines, err)
		}
	}
}

func (h *plyHead) line(words []string) error {
	if len(words) == 0 {
		return nil
	}
	switch words[0] {
	case "ply", "comment":
		return nil
	case "obj_info":
		if len(words) == 3 && (words[1] == "num_cols" || words[1] == "num_rows") {
			n, err := whole([]byte(words[2]))
			if err != nil {
				return err
			}
			if words[1] == "num_cols" {
				h.cols = n
			} else {
				h.rows = n
			}
		}
		return nil
	case "format":
		if len(words) != 3 || !slices.Contains([]string{"ascii", "binary_little_endian", "binary_big_endian"}, words[1]) {
			return fmt.Errorf("unknown format %q: ascii, binary_little_endian and binary_big_endian are known", strings.Join(words[1:], " "))
		}
		h.order = words[1]
		return nil
	case "element":
		return h.element(words)
	case "property":
		return h.property(words)
	}
	return fmt.Errorf("%q is not a word of a PLY head", short([]byte(words[0])))
}

func (h *plyHead) element(words []string) error {
	if len(words) != 3 {
		return fmt.Errorf("an element needs a name and a count")
	}
	n, err := whole([]byte(words[2]))
	if err != nil {
		return err
	}
	if n < 0 {
		return fmt.Errorf("%d %s elements cannot be", n, words[1])
	}
	h.elements = append(h.elements, plyElement{name: words[1], count: n})
	return nil
}

func (h *plyHead) property(words []string) error {
	if len(h.elements) == 0 {
		return fmt.Errorf("a property before any element")
	}
	e := &h.elements[len(h.elements)-1]
	var p plyProp
	switch {
	case len(words) == 3:
		p = plyProp{name: words[2], kind: plyTypes[words[1]]}
	case len(words) == 5 && words[1] == "list":
		p = plyProp{name: words[4], kind: plyTypes[words[3]], count: plyTypes[words[2]]}
		if p.count == none || p.count >= f32 {
			return fmt.Errorf("a list cannot be counted in %q", words[2])
		}
	default:
		return fmt.Errorf("a property needs a type and a name, or list, two types and a name")
	}
	if p.kind == none {
		return fmt.Errorf("unknown number type in %q", strings.Join(words, " "))
	}
	e.props = append(e.props, p)
	return nil
}

// check compares what the head promises with what the file can hold.
func (h *plyHead) check(size int64) error {
	if h.order == "" {
		return fmt.Errorf("line %d: the head of the PLY file has no format line", h.lines)
	}
	left := size - h.bytes
	for _, e := range h.elements {
		least := e.least(h.order == "ascii")
		if least == 0 {
			continue
		}
		if e.count > (left+1)/least {
			return fmt.Errorf("byte %d: the head promises %d %s elements, which take %d bytes at least; %d bytes are left: the file was cut off or its head is wrong",
				h.bytes, e.count, e.name, least, left)
		}
		left -= e.count * least
	}
	return nil
}

package sheet

import (
	"cmp"
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"math/bits"
	"slices"
)

// Solid is a surface for the 3D view, reduced by the caller.
type Solid struct {
	Name   string
	Verts  [][3]float32 // mm
	Tris   [][3]int32   // counter-clockwise seen from outside
	Strays float64      // mm by which it strays from the full surface at most
	Full   int          // triangles of the full surface
	Layers []Layer
	Spots  []Spot
}

// Layer is a set of values on a solid, one a vertex.
type Layer struct {
	Name    string
	Unit    string
	At      []float32 // NaN where nothing is known
	Low     float64
	High    float64
	Limits  []float64
	Colours [][3]uint8 // from low to high, two or more
}

// packed is a solid as the page's script reads it. Positions are whole steps
// of the box, 65,535 a side. A vertex is written as three differences from the
// one before, a triangle as three indices, each as its difference from the
// next vertex not yet used; numbers are zigzagged and cut into sevens, low
// first (as LEB128 does). Values are one byte, 1 to 255 from low to high, 0
// where nothing is known.
type packed struct {
	Name   string        `json:"name"`
	Low    [3]float64    `json:"low"`
	Size   [3]float64    `json:"size"`
	Verts  int           `json:"verts"`
	Tris   int           `json:"tris"`
	Places string        `json:"places"`
	Index  string        `json:"index"`
	Strays float64       `json:"strays"`
	Full   int           `json:"full"`
	Layers []packedLayer `json:"layers"`
	Spots  []Spot        `json:"spots"`
}

type packedLayer struct {
	Name    string     `json:"name"`
	Unit    string     `json:"unit"`
	Low     float64    `json:"low"`
	High    float64    `json:"high"`
	Limits  []float64  `json:"limits"`
	Colours [][3]uint8 `json:"colours"`
	At      string     `json:"at"`
}

// pack returns the solid as JSON.
func (s Solid) pack() ([]byte, error) {
	if err := s.check(); err != nil {
		return nil, err
	}
	lo, size := s.box()
	cells := make([][3]int32, len(s.Verts))
	for i, v := range s.Verts {
		for k := range v {
			if size[k] > 0 {
				cells[i][k] = int32(math.Round((float64(v[k]) - lo[k]) / size[k] * 65535))
			}
		}
	}
	tris, order := s.arrange(cells)
	p := packed{Name: s.Name, Low: lo, Size: size, Verts: len(order), Tris: len(tris), Strays: s.Strays, Full: s.Full, Spots: s.Spots}
	p.Places, p.Index = packPlaces(cells, order), packIndex(tris)
	for _, l := range s.Layers {
		p.Layers = append(p.Layers, packedLayer{l.Name, l.Unit, l.Low, l.High, l.Limits, l.Colours, packValues(l, order)})
	}
	return json.Marshal(p)
}

func (s Solid) check() error {
	if len(s.Tris) == 0 {
		return errors.New("it has no triangles")
	}
	for i, t := range s.Tris {
		for _, v := range t {
			if v < 0 || int(v) >= len(s.Verts) {
				return fmt.Errorf("triangle %d names vertex %d of %d", i, v, len(s.Verts))
			}
			for _, x := range s.Verts[v] {
				if x-x != 0 {
					return fmt.Errorf("vertex %d is not a finite place", v)
				}
			}
		}
	}
	for _, l := range s.Layers {
		if len(l.At) != len(s.Verts) || len(l.Colours) < 2 || !(l.High > l.Low) {
			return fmt.Errorf("values %q: %d for %d vertices, %d colours, from %g to %g", l.Name, len(l.At), len(s.Verts), len(l.Colours), l.Low, l.High)
		}
	}
	return nil
}

// box returns the least corner and the sides of the box around all triangles.
func (s Solid) box() (lo, size [3]float64) {
	hi := [3]float64{math.Inf(-1), math.Inf(-1), math.Inf(-1)}
	lo = [3]float64{math.Inf(1), math.Inf(1), math.Inf(1)}
	for _, t := range s.Tris {
		for _, v := range t {
			for k, x := range s.Verts[v] {
				lo[k], hi[k] = min(lo[k], float64(x)), max(hi[k], float64(x))
			}
		}
	}
	for k := range lo {
		size[k] = hi[k] - lo[k]
	}
	return lo, size
}

// arrange puts triangles in the order of a space-filling curve and vertices in
// the order of their first use, so that differences are small.
func (s Solid) arrange(cells [][3]int32) (tris [][3]int32, order []int32) {
	tris = slices.Clone(s.Tris)
	slices.SortStableFunc(tris, func(a, b [3]int32) int { return cmp.Compare(interleave(cells[a[0]]), interleave(cells[b[0]])) })
	at := make([]int32, len(s.Verts))
	for i, t := range tris {
		for k, v := range t {
			if at[v] == 0 {
				order = append(order, v)
				at[v] = int32(len(order))
			}
			tris[i][k] = at[v] - 1
		}
	}
	return tris, order
}

// interleave mixes the bits of three 16-bit numbers (G. M. Morton, 1966, from
// memory).
func interleave(c [3]int32) (code uint64) {
	for k, x := range c {
		v := uint64(uint16(x))
		v = (v | v<<16) & 0x0000ff0000ff
		v = (v | v<<8) & 0x00f00f00f00f
		v = (v | v<<4) & 0x0c30c30c30c3
		v = (v | v<<2) & 0x249249249249
		code |= v << k
	}
	return code
}

// sevens appends a signed number, zigzagged, in groups of seven bits.
func sevens(b []byte, x int32) []byte {
	u := uint32(x<<1) ^ uint32(x>>31)
	for range (bits.Len32(u|1) - 1) / 7 {
		b, u = append(b, byte(u)|0x80), u>>7
	}
	return append(b, byte(u))
}

func packPlaces(cells [][3]int32, order []int32) string {
	var b []byte
	var last [3]int32
	for _, v := range order {
		for k, x := range cells[v] {
			b = sevens(b, x-last[k])
		}
		last = cells[v]
	}
	return base64.StdEncoding.EncodeToString(b)
}

func packIndex(tris [][3]int32) string {
	var b []byte
	next := int32(0)
	for _, t := range tris {
		for _, v := range t {
			b = sevens(b, next-v)
			next = max(next, v+1)
		}
	}
	return base64.StdEncoding.EncodeToString(b)
}

func packValues(l Layer, order []int32) string {
	b := make([]byte, len(order))
	for i, v := range order {
		if x := float64(l.At[v]); x == x {
			b[i] = 1 + byte(math.Round(min(max((x-l.Low)/(l.High-l.Low), 0), 1)*254))
		}
	}
	return base64.StdEncoding.EncodeToString(b)
}

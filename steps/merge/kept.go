package merge

import (
	"encoding/binary"
	"errors"
	"math"
)

// A kept view is, little-endian, the numbers of patches and of the picture's
// cells along u and v (8 bytes each), whether the scanner stood at the eye (8:
// 1 or 0), the numbers that scalars lists (8 each), the first patch of each cell and one more
// (4 each), and the patches (eleven numbers of 4 each).

func (v *view) scalars() []*float64 {
	w := v.picture
	list := []*float64{&v.origin.X, &v.origin.Y, &v.origin.Z, &v.noise, &v.spacing, &w.u, &w.v, &w.per}
	for _, at := range []*[3]*float64{{&w.at.X, &w.at.Y, &w.at.Z}, {&w.x.X, &w.x.Y, &w.x.Z}, {&w.y.X, &w.y.Y, &w.y.Z}, {&w.z.X, &w.z.Y, &w.z.Z}} {
		list = append(list, at[:]...)
	}
	return list
}

const (
	keptInts  = 4
	keptPatch = 44 // bytes of a patch
)

func (v *view) encode() []byte {
	if v.picture == nil {
		v.picture = &picture{first: []int32{0}}
	}
	w, e := v.picture, binary.LittleEndian
	b := make([]byte, 0, 300+4*len(w.first)+keptPatch*len(v.patches))
	stood := 0
	if v.stood {
		stood = 1
	}
	for _, n := range [keptInts]int{len(v.patches), w.nx, w.ny, stood} {
		b = e.AppendUint64(b, uint64(n))
	}
	for _, x := range v.scalars() {
		b = e.AppendUint64(b, math.Float64bits(*x))
	}
	for _, n := range w.first {
		b = e.AppendUint32(b, uint32(n))
	}
	for i := range v.patches {
		for _, x := range v.patches[i].numbers() {
			b = e.AppendUint32(b, math.Float32bits(*x))
		}
	}
	return b
}

func (p *patch) numbers() [keptPatch / 4]*float32 {
	return [...]*float32{&p.at[0], &p.at[1], &p.at[2], &p.up[0], &p.up[1], &p.up[2], &p.weight, &p.many, &p.wide, &p.out, &p.jump}
}

var errShort = errors.New("what was kept of a scan is damaged")

func decode(data []byte) (*view, error) {
	v, e := &view{picture: &picture{}}, binary.LittleEndian
	w, scalars := v.picture, v.scalars()
	if len(data) < 8*(keptInts+len(scalars)) {
		return nil, errShort
	}
	var ints [keptInts]uint64
	for i := range ints {
		ints[i] = e.Uint64(data[8*i:])
	}
	data = data[8*keptInts:]
	for i, x := range scalars {
		*x = math.Float64frombits(e.Uint64(data[8*i:]))
	}
	data = data[8*len(scalars):]
	n, nx, ny := ints[0], ints[1], ints[2]
	if most := uint64(len(data)); n > most || nx > most || ny > most || nx*ny > most || uint64(len(data)) != 4*(nx*ny+1)+keptPatch*n {
		return nil, errShort
	}
	v.stood, w.nx, w.ny = ints[3] == 1, int(nx), int(ny)
	w.first = make([]int32, nx*ny+1)
	for i := range w.first {
		w.first[i] = int32(e.Uint32(data[4*i:]))
	}
	data = data[4*len(w.first):]
	v.patches = make([]patch, n)
	for i := range v.patches {
		row := data[keptPatch*i : keptPatch*(i+1)]
		for k, x := range v.patches[i].numbers() {
			*x = math.Float32frombits(e.Uint32(row[4*k:]))
		}
	}
	if !v.whole() {
		return nil, errShort
	}
	return v, nil
}

// whole reports whether a view that was read can be used.
func (v *view) whole() bool {
	w := v.picture
	for _, x := range v.scalars() {
		if x != &v.noise && !(math.Abs(*x) < math.MaxFloat32) {
			return false
		}
	}
	last := int32(0)
	for _, n := range w.first {
		if n < last {
			return false
		}
		last = n
	}
	for i := range v.patches {
		if !v.patches[i].at.Vec().Finite() || !v.patches[i].up.Vec().Finite() {
			return false
		}
	}
	return int(last) == len(v.patches) && w.first[0] == 0 && w.per >= 0 && v.spacing > 0
}

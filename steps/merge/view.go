package merge

import (
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"math"

	"layette/engine/step"
	"layette/steps/internal/geom"
	"layette/steps/internal/shot"
	"layette/steps/internal/workpiece"
)

// view is what a scan gives to the surface wherever it is placed, in its own
// frame: 36 bytes a point. It is kept from run to run, since one scan more or
// less moves all others a little, and no sums of points outlive that.
type view struct {
	points  []geom.Point // about origin, in the picture's order
	normals []geom.Point
	weight  []float32 // by viewing angle and nearness of the border
	local   []float32 // mm between neighbouring points there
	out     []float32 // mm that the point stands out of the smoothed skin
	origin  geom.Vec
	noise   float64 // mm; NaN if it cannot be told
	spacing float64
	eye     geom.Vec // where the scanner stood, or else a place far off on the skin's side
	stood   float64  // 1 if the scanner stood there, else 0
	picture *picture
}

// look gives the view of a scan: from an earlier run if it was kept, or else from
// the file.
func (m *merger) look(ctx context.Context, f step.File) (*view, error) {
	key := fmt.Sprintf("view %s %s %x", f.SHA256, f.Units, m.fade)
	if v := m.prior(key); v != nil {
		return v, nil
	}
	piece, err := workpiece.Open(ctx, m.job, f)
	if err != nil {
		return nil, err
	}
	name := workpiece.Piece{File: f}.Base()
	s, err := shot.Look(ctx, piece.Mesh, m.fade, 1)
	switch {
	case err != nil:
		return nil, fmt.Errorf("%s: %w", name, err)
	case s.View.Away:
		return nil, fmt.Errorf("%s: its skin faces away from the scanner: the file is mirrored or its triangles are turned over", name)
	}
	v := m.viewOf(s)
	if m.job.Keep == nil {
		return v, nil // encoding is work
	}
	return v, workpiece.Keep(m.job, key, v.encode())
}

func (m *merger) prior(key string) *view {
	data, ok := workpiece.Kept(m.job, key)
	if !ok {
		return nil
	}
	v, err := decode(data)
	if err != nil {
		return nil
	}
	return v
}

// viewOf leaves out the points that say nothing and draws the picture.
func (m *merger) viewOf(s *shot.Shot) *view {
	v := &view{origin: s.Mesh.Origin, noise: s.Noise, spacing: s.Spacing, eye: s.View.At, stood: 1}
	if !s.View.Known {
		box := s.Mesh.Bounds()
		v.eye, v.stood = box.Centre().Add(s.View.Along.Mul(20*box.Size().Len())), 0
	}
	for i, at := range s.Mesh.Verts {
		w := m.weigh(s, i)
		if s.Local[i] == 0 || w == 0 {
			continue
		}
		v.points, v.normals = append(v.points, at), append(v.normals, s.Normals[i].Point())
		v.weight, v.local = append(v.weight, float32(w)), append(v.local, s.Local[i])
	}
	if len(v.points) > 0 {
		v.draw()
		v.smooth()
	}
	return v
}

// smooth finds the smoothed skin at every point: the weighted mean of what its
// neighbours say, each by its distance across the mean of the two normals. This
// is one step of a moving-least-squares projection (D. Levin 1998; from memory)
// with the symmetric distance of S. Rusinkiewicz (see settle).
func (v *view) smooth() {
	v.out = make([]float32, len(v.points))
	for i := range v.points {
		at, up := v.points[i].Vec(), v.normals[i].Vec()
		r := 0.75 * v.wide(i)
		var push, weight float64
		loU, hiU, loV, hiV := v.picture.cells(at, r)
		for row := loV; row <= hiV && loU <= hiU; row++ {
			c := row * v.picture.nx
			for k := v.picture.first[c+loU]; k < v.picture.first[c+hiU+1]; k++ {
				d, normal := at.Sub(v.points[k].Vec()), v.normals[k].Vec()
				turn := normal.Dot(up)
				if turn < 0.5 {
					continue
				}
				across := (normal.Dot(d) + up.Dot(d)) / math.Sqrt(2+2*turn)
				u := 1 - (d.Len2()-float64(across*across))/float64(r*r)
				if u <= 0 || math.Abs(across) > r {
					continue
				}
				u = float64(float64(u*u) * float64(v.weight[k]))
				push, weight = push+float64(u*across), weight+u
			}
		}
		if weight > 0 {
			v.out[i] = float32(push / weight)
		}
	}
}

// spread is how many spacings along the skin a point speaks for: the least at
// which every place between points that fell on a slanted square grid is
// reached by three.
const spread = 1.6

// wide is how far along the skin point i speaks, mm.
func (v *view) wide(i int) float64 {
	return spread * min(max(float64(v.local[i]), v.spacing), 3*v.spacing)
}

// draw draws the picture and puts the points in its order.
func (v *view) draw() {
	var order []int32
	v.picture, order = newPicture(v.eye, v.points, v.spacing)
	v.points, v.normals = ordered(v.points, order), ordered(v.normals, order)
	v.weight, v.local = ordered(v.weight, order), ordered(v.local, order)
}

func ordered[T any](list []T, order []int32) []T {
	out := make([]T, len(list))
	for i, k := range order {
		out[i] = list[k]
	}
	return out
}

// least is the weight of the worst point against the best: where nothing else
// sees the skin it must still count.
const least = 1e-3

// weigh returns the weight of a point: the square of the cosine of the viewing
// angle, less from 60 degrees on, and fading to nearly nothing at the border of
// the patch, so that a surface made of many has no step where one begins.
func (m *merger) weigh(s *shot.Shot, v int) float64 {
	cos := float64(s.Cos[v])
	if s.Normals[v] == (geom.Vec{}) || cos <= 0 {
		return 0
	}
	w := float64(cos * cos)
	if cos < 0.5 {
		w *= 2 * cos
	}
	t := min(float64(s.Border[v])/m.fade, 1)
	return max(float64(w*ease(t)), least)
}

// ease rises from 0 to 1 without a corner.
func ease(t float64) float64 { return float64(t*t) * (3 - 2*t) }

// A kept view is the number of points (8 bytes, little-endian), the numbers
// that scalars lists (8 each), then points, normals, weight, local and out
// (4 bytes a number).

func (v *view) scalars() []*float64 {
	return []*float64{&v.origin.X, &v.origin.Y, &v.origin.Z, &v.eye.X, &v.eye.Y, &v.eye.Z, &v.noise, &v.spacing, &v.stood}
}

func (v *view) encode() []byte {
	b := make([]byte, 0, 100+36*len(v.points))
	b = binary.LittleEndian.AppendUint64(b, uint64(len(v.points)))
	for _, x := range v.scalars() {
		b = binary.LittleEndian.AppendUint64(b, math.Float64bits(*x))
	}
	for _, list := range [][]geom.Point{v.points, v.normals} {
		for _, p := range list {
			b = appendFloats(b, p[:])
		}
	}
	for _, list := range [][]float32{v.weight, v.local, v.out} {
		b = appendFloats(b, list)
	}
	return b
}

func appendFloats(b []byte, list []float32) []byte {
	for _, x := range list {
		b = binary.LittleEndian.AppendUint32(b, math.Float32bits(x))
	}
	return b
}

var errShort = errors.New("what was kept of a scan is damaged")

func decode(data []byte) (*view, error) {
	v := &view{}
	scalars := v.scalars()
	if len(data) < 8*(1+len(scalars)) {
		return nil, errShort
	}
	next := func() uint64 {
		x := binary.LittleEndian.Uint64(data)
		data = data[8:]
		return x
	}
	n := next()
	for _, x := range scalars {
		*x = math.Float64frombits(next())
	}
	if n > uint64(len(data)) || uint64(len(data)) != 36*n {
		return nil, errShort
	}
	r := bytes.NewBuffer(data)
	v.points, v.normals = readPoints(r, int(n)), readPoints(r, int(n))
	v.weight, v.local, v.out = readFloats(r, int(n)), readFloats(r, int(n)), readFloats(r, int(n))
	for _, p := range v.points {
		if !p.Vec().Finite() {
			return nil, errShort
		}
	}
	if !(v.spacing > 0) || !v.eye.Finite() {
		return nil, errShort
	}
	if n > 0 {
		v.draw()
	}
	return v, nil
}

func readPoints(r *bytes.Buffer, n int) []geom.Point {
	list := make([]geom.Point, n)
	for i, b := 0, r.Next(12*n); i < n; i++ {
		for k := range 3 {
			list[i][k] = math.Float32frombits(binary.LittleEndian.Uint32(b[12*i+4*k:]))
		}
	}
	return list
}

func readFloats(r *bytes.Buffer, n int) []float32 {
	list := make([]float32, n)
	for i, b := 0, r.Next(4*n); i < n; i++ {
		list[i] = math.Float32frombits(binary.LittleEndian.Uint32(b[4*i:]))
	}
	return list
}

package align

import (
	"context"
	"encoding/binary"
	"errors"
	"math"

	"layette/steps/internal/geom"
)

// This file writes a thinned scan as bytes and reads it back, so that a scan
// that did not change is not thinned and described again. All is little-endian;
// lists begin with their length, 64 bits.

var errShort = errors.New("what was kept of a scan is damaged")

func (c *scan) encode() []byte {
	var b []byte
	for _, cloud := range []*geom.Cloud{c.view.Cloud, c.fine} {
		b = binary.LittleEndian.AppendUint64(b, uint64(len(cloud.Points)))
		b, _ = binary.Append(b, binary.LittleEndian, cloud.Noise)
		b, _ = binary.Append(b, binary.LittleEndian, cloud.Points)
		b, _ = binary.Append(b, binary.LittleEndian, cloud.Normals)
		b, _ = binary.Append(b, binary.LittleEndian, cloud.Rim)
	}
	b = binary.LittleEndian.AppendUint64(b, uint64(len(c.view.Tris)))
	b, _ = binary.Append(b, binary.LittleEndian, c.view.Tris)
	b = binary.LittleEndian.AppendUint64(b, uint64(len(c.features.At)))
	b, _ = binary.Append(b, binary.LittleEndian, c.features.At)
	b, _ = binary.Append(b, binary.LittleEndian, c.features.Row)
	return b
}

func (c *scan) decode(ctx context.Context, data []byte, spacing float64) error {
	r := &keptReader{data: data}
	coarse, fine := r.cloud(spacing), r.cloud(spacing/2)
	coarse.Tris = make([]geom.Tri, r.count(12))
	for k := range coarse.Tris {
		r.ints(coarse.Tris[k][:])
	}
	f := geom.NewEmptyFeatures(r.count(4))
	r.ints(f.At)
	for k := range f.Row {
		r.floats(f.Row[k][:])
	}
	if r.short {
		return errShort
	}
	if err := errors.Join(coarse.Index(ctx, 1), fine.Ready(ctx, 1)); err != nil {
		return err
	}
	c.view.Cloud, c.fine, c.features = coarse, fine, f
	c.finish()
	return nil
}

// keptReader reads what encode wrote. Past the end it reads noughts and says so.
type keptReader struct {
	data  []byte
	short bool
}

// take returns the next n bytes.
func (r *keptReader) take(n int) []byte {
	if n > len(r.data) {
		r.data, r.short = nil, true
		return make([]byte, n)
	}
	b := r.data[:n]
	r.data = r.data[n:]
	return b
}

// count reads how many items of at least size bytes follow; never more than fit.
func (r *keptReader) count(size int) int {
	n := binary.LittleEndian.Uint64(r.take(8))
	if n > uint64(len(r.data)/size) {
		r.short = true
		return 0
	}
	return int(n)
}

func (r *keptReader) floats(into []float32) {
	b := r.take(4 * len(into))
	for k := range into {
		into[k] = math.Float32frombits(binary.LittleEndian.Uint32(b[4*k:]))
	}
}

func (r *keptReader) ints(into []int32) {
	b := r.take(4 * len(into))
	for k := range into {
		into[k] = int32(binary.LittleEndian.Uint32(b[4*k:]))
	}
}

func (r *keptReader) cloud(spacing float64) *geom.Cloud {
	n := r.count(25)
	c := &geom.Cloud{Spacing: spacing, Points: make([]geom.Point, n), Normals: make([]geom.Point, n), Rim: make([]bool, n)}
	c.Noise = math.Float64frombits(binary.LittleEndian.Uint64(r.take(8)))
	for _, list := range [][]geom.Point{c.Points, c.Normals} {
		for k := range list {
			r.floats(list[k][:])
		}
	}
	for k, b := range r.take(n) {
		c.Rim[k] = b != 0
	}
	return c
}

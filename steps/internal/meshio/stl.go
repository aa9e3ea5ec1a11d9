package meshio

import (
	"context"
	"encoding/binary"
	"fmt"
	"io"
	"math"
	"sync"

	"layette/steps/internal/geom"
)

// A binary STL is 80 bytes of anything, a count, and 50 bytes for each facet:
// normal and three corners as float32, and two bytes whose use nobody agreed on.
const (
	stlHead  = 84
	stlFacet = 50
)

// exactSTL returns the count that a binary STL would have and whether the
// file's size is exactly what the count promises.
func exactSTL(head []byte, size int64) (facets int64, exact bool) {
	if len(head) < stlHead {
		return 0, false
	}
	n := int64(binary.LittleEndian.Uint32(head[80:]))
	return n, size == stlHead+stlFacet*n
}

// readSTL reads a binary STL. The count must agree with the size: a count that
// says more or less than the file holds is refused, because nobody can know
// which of the two is right. Only a tail shorter than a facet is passed over.
func readSTL(ctx context.Context, r io.ReaderAt, size int64, head []byte, opt Options, info *Info) (*geom.Mesh, error) {
	info.Format = "binary STL"
	if size < stlHead {
		return nil, fmt.Errorf("byte %d: the file ends inside the head of a binary STL, which takes %d bytes", size, stlHead)
	}
	n, _ := exactSTL(head, size)
	held := (size - stlHead) / stlFacet
	surplus := size - stlHead - stlFacet*n
	switch {
	case surplus < 0:
		return nil, fmt.Errorf("byte %d: the file ends too early: its head promises %d facets, %d are there whole; export or copy it again", size, n, held)
	case surplus >= stlFacet:
		return nil, fmt.Errorf("byte 80: the head promises %d facets, but the file goes on and has room for %d; export it again", n, held)
	case n > math.MaxInt32/3:
		return nil, fmt.Errorf("byte 80: %d facets are more than this program can number", n)
	case surplus > 0:
		info.note("the last %d of the file's bytes, too few for a facet, were passed over", surplus)
	}
	corners, err := stlCorners(ctx, r, n, opt.Workers)
	if err != nil {
		return nil, err
	}
	return info.weldFacets(ctx, corners, opt)
}

// stlCorners reads the corners of n facets, in order.
func stlCorners(ctx context.Context, r io.ReaderAt, n int64, workers int) ([]geom.Point, error) {
	const each = 1 << 14 // facets read at a time: 800 KB
	corners := make([]geom.Point, 3*n)
	workers = max(1, min(workers, 16))
	errs := make([]error, workers)
	var wg sync.WaitGroup
	for w := range workers {
		wg.Go(func() {
			buf := make([]byte, min(each, n)*stlFacet)
			for lo := int64(w) * each; lo < n && errs[w] == nil; lo += int64(workers) * each {
				hi := min(lo+each, n)
				errs[w] = readFacets(ctx, r, buf, corners[3*lo:3*hi], lo)
			}
		})
	}
	wg.Wait()
	for _, err := range errs {
		if err != nil {
			return nil, err
		}
	}
	return corners, nil
}

// readFacets reads len(corners)/3 facets, from facet lo on.
func readFacets(ctx context.Context, r io.ReaderAt, buf []byte, corners []geom.Point, lo int64) error {
	if ctx.Err() != nil {
		return context.Cause(ctx)
	}
	buf = buf[:len(corners)/3*stlFacet]
	at := stlHead + lo*stlFacet
	if n, err := r.ReadAt(buf, at); n < len(buf) {
		return fmt.Errorf("byte %d: %w", at+int64(n), err)
	}
	for i := range corners {
		b := buf[i/3*stlFacet+12+i%3*12:][:12]
		corners[i] = geom.Point{float(b), float(b[4:]), float(b[8:])}
	}
	return nil
}

func float(b []byte) float32 { return math.Float32frombits(binary.LittleEndian.Uint32(b)) }

// weldFacets makes the surface of loose corners.
func (i *Info) weldFacets(ctx context.Context, corners []geom.Point, opt Options) (*geom.Mesh, error) {
	i.Triangles, i.Points = len(corners)/3, len(corners)
	box, finite := bounds(corners)
	if !finite || opt.Scale != 1 || origin(box) != (geom.Vec{}) {
		raw := &raw{loose: true, pos: make([]geom.Vec, len(corners))}
		for k, p := range corners {
			raw.pos[k] = p.Vec()
		}
		return raw.mesh(ctx, opt, i)
	}
	return geom.Weld(ctx, corners, opt.Workers)
}

// bounds returns the box of pts and whether all are within limit.
func bounds(pts []geom.Point) (geom.Box, bool) {
	if len(pts) == 0 {
		return geom.EmptyBox(), true
	}
	lo, hi := pts[0], pts[0]
	sum := float32(0) // stays zero while all is finite
	for _, p := range pts {
		for k, x := range p {
			sum += x * 0
			lo[k], hi[k] = min(lo[k], x), max(hi[k], x)
		}
	}
	box := geom.Box{Min: lo.Vec(), Max: hi.Vec()}
	most := max(-box.Min.X, -box.Min.Y, -box.Min.Z, box.Max.X, box.Max.Y, box.Max.Z)
	return box, sum == 0 && most <= limit
}

package align

import (
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"io"

	"layette/steps/internal/geom"
)

// This file writes a thinned scan as bytes and reads it back, so that a scan
// that did not change is not thinned and described again.

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

func (c *scan) decode(ctx context.Context, data []byte, spacing float64, workers int) error {
	r := bytes.NewReader(data)
	coarse, err := readCloud(ctx, r, spacing, workers)
	if err != nil {
		return err
	}
	fine, err := readCloud(ctx, r, spacing/2, workers)
	if err != nil {
		return err
	}
	n, err := count(r)
	if err != nil {
		return err
	}
	coarse.Tris = make([]geom.Tri, n)
	if err := readAll(r, coarse.Tris); err != nil {
		return err
	}
	if n, err = count(r); err != nil {
		return err
	}
	f := geom.NewEmptyFeatures(n)
	if err := readAll(r, f.At, f.Row); err != nil {
		return err
	}
	c.view.Cloud, c.fine, c.features = coarse, fine, f
	c.finish()
	return nil
}

func readCloud(ctx context.Context, r *bytes.Reader, spacing float64, workers int) (*geom.Cloud, error) {
	n, err := count(r)
	if err != nil {
		return nil, err
	}
	c := &geom.Cloud{Spacing: spacing, Points: make([]geom.Point, n), Normals: make([]geom.Point, n), Rim: make([]bool, n)}
	if err := readAll(r, &c.Noise, c.Points, c.Normals, c.Rim); err != nil {
		return nil, err
	}
	return c, c.Index(ctx, workers)
}

// count reads how many items follow; never more than there are bytes.
func count(r *bytes.Reader) (int, error) {
	var n uint64
	if err := binary.Read(r, binary.LittleEndian, &n); err != nil || n > uint64(r.Len()) {
		return 0, errShort
	}
	return int(n), nil
}

func readAll(r io.Reader, into ...any) error {
	for _, x := range into {
		if err := binary.Read(r, binary.LittleEndian, x); err != nil {
			return errShort
		}
	}
	return nil
}

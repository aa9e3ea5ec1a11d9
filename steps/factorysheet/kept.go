package factorysheet

import (
	"bytes"
	"crypto/sha256"
	"fmt"

	"layette/engine/step"
	"layette/steps/internal/draw"
	"layette/steps/internal/workpiece"
)

// kept are the pictures of a master that an earlier run drew: when one part of
// a kit was edited, the others need not be drawn again.
type kept struct {
	job    *step.Job
	digest string // of the master's file
}

// picture returns what draw draws of the master, or what was kept of it. What
// is kept begins with its own SHA-256, so that what is damaged is drawn anew.
func (k kept) picture(what string, size draw.Size, draw func() ([]byte, error)) ([]byte, error) {
	key := fmt.Sprintf("%s %s %dx%d version %d", k.digest, what, size.Width, size.Height, Kind{}.Handbook().Version)
	if data, ok := k.prior(key); ok {
		return data, nil
	}
	data, err := draw()
	if err != nil {
		return nil, err
	}
	return data, k.keep(key, data)
}

func (k kept) prior(key string) ([]byte, bool) {
	data, ok := workpiece.Kept(k.job, key)
	if !ok || k.digest == "" || len(data) < sha256.Size {
		return nil, false
	}
	sum := sha256.Sum256(data[sha256.Size:])
	return data[sha256.Size:], bytes.Equal(sum[:], data[:sha256.Size])
}

func (k kept) keep(key string, data []byte) error {
	if k.digest == "" {
		return nil
	}
	sum := sha256.Sum256(data)
	return workpiece.Keep(k.job, key, append(sum[:], data...))
}

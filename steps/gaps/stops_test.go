package gaps

import (
	"context"
	"errors"
	"sync/atomic"
	"testing"

	"layette/engine/step"
	"layette/steps/internal/steptest"
)

// glances is a context that is cancelled when it has been looked at so often.
type glances struct {
	context.Context
	left atomic.Int64
	stop func()
}

func (g *glances) Err() error {
	if g.left.Add(-1) == 0 {
		g.stop()
	}
	return g.Context.Err()
}

// TestStops: whenever it is cancelled, the step stops with the cause, and it
// looks often: in the search for the nearest triangles at every place.
func TestStops(t *testing.T) {
	f, lo, hi := twoFingers()
	file := plyFile(t, grid(f, lo, hi, 0.8))
	run := func(after int64) (int64, error) {
		ctx, cancel := context.WithCancelCause(t.Context())
		g := &glances{Context: ctx, stop: func() { cancel(errStop) }}
		g.left.Store(after)
		job := &step.Job{
			Inputs: map[string][]step.File{"surface": {file}}, Workers: 1, Progress: step.NoProgress,
			Values: steptest.Values(t, Kind{}.Handbook(), nil), Create: create,
		}
		_, err := Kind{}.Run(g, job)
		return after - g.left.Load(), err
	}
	all, err := run(1 << 40)
	if err != nil || all < 200 {
		t.Fatalf("%d looks at whether to stop, %v", all, err)
	}
	for part := range int64(6) {
		at := 1 + part*(all-1)/6
		looks, err := run(at)
		if !errors.Is(err, errStop) {
			t.Errorf("cancelled at look %d of %d: %v", at, all, err)
		}
		if looks > at+8 {
			t.Errorf("cancelled at look %d it went on to look %d times more", at, looks-at)
		}
	}
}

var errStop = errors.New("stop")

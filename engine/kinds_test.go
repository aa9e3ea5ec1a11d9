package engine

import (
	"context"
	"errors"
	"fmt"
	"io"
	"strings"
	"sync"
	"testing"
	"time"

	"layette/engine/step"
)

// fake is a step for tests: it joins its inputs' bytes, line by line, does what
// its values say and counts how often it ran.
type fake struct {
	name    string
	version int
	book    func(*step.Handbook)
	run     func(ctx context.Context, job *step.Job) (*step.Outcome, error)

	mu   *sync.Mutex
	runs *[]string // one line a run: all that it was given
}

func (k fake) Handbook() step.Handbook {
	h := step.Handbook{
		Name: k.name, Version: max(k.version, 1), Summary: "A step for tests.",
		Inputs: []step.Input{
			{Name: "in", Kind: step.Surface, Many: true, Optional: true},
			{Name: "named", Kind: step.Any, Many: true, Optional: true, Named: true},
		},
		Values: []step.Value{
			{Name: "text", Type: step.String, Default: "-"},
			{Name: "least", Type: step.Length, Default: "1 mm"},
			{Name: "extra", Type: step.Length, Optional: true},
		},
		Measures: []step.Measure{
			{Name: "bytes", Type: step.Count},
			{Name: "width", Type: step.Length, Resolution: 0.001},
			{Name: "list", Type: step.Length, Many: true},
		},
		Outputs: []step.Output{{Name: "out", Kind: step.Surface}},
	}
	if k.book != nil {
		k.book(&h)
	}
	return h
}

func (k fake) Run(ctx context.Context, job *step.Job) (*step.Outcome, error) {
	given, err := read(job)
	if err != nil {
		return nil, err
	}
	if k.mu != nil {
		k.mu.Lock()
		*k.runs = append(*k.runs, given)
		k.mu.Unlock()
	}
	if k.run != nil {
		return k.run(ctx, job)
	}
	return join(job, given)
}

// read returns all of a job's inputs and values as one text.
func read(job *step.Job) (string, error) {
	var b strings.Builder
	for _, role := range []string{"in", "named"} {
		for _, f := range job.Inputs[role] {
			r, err := f.Open()
			if err != nil {
				return "", err
			}
			data, err := io.ReadAll(r)
			r.Close()
			if err != nil {
				return "", err
			}
			fmt.Fprintf(&b, "%s %s\n", role, data)
			if role == "named" {
				b.WriteString(f.Name + "\n")
			}
		}
	}
	fmt.Fprintf(&b, "%v", job.Values)
	return b.String(), nil
}

// join writes what it was given, so that any change goes on to what comes
// after; an input that says "fail" fails.
func join(job *step.Job, given string) (*step.Outcome, error) {
	if strings.Contains(given, "fail") {
		return nil, errors.New("the input says fail")
	}
	if err := put(job, "out", "out.txt", given); err != nil {
		return nil, err
	}
	return &step.Outcome{Measures: map[string]any{"bytes": int64(len(given)), "width": job.Values.Float("least") + 0.00001}}, nil
}

func put(job *step.Job, output, name, text string) error {
	w, err := job.Create(output, name)
	if err != nil {
		return err
	}
	if _, err := io.WriteString(w, text); err != nil {
		return err
	}
	return w.Close()
}

// length loses all of its input but the length: a step whose result often
// stays the same.
func length(_ context.Context, job *step.Job) (*step.Outcome, error) {
	given, err := read(job)
	if err != nil {
		return nil, err
	}
	n := len(given) / 8
	if err := put(job, "out", "out.txt", fmt.Sprint(n)); err != nil {
		return nil, err
	}
	return &step.Outcome{Measures: map[string]any{"bytes": int64(n)}}, nil
}

// bench is a set of fake steps with one count of their runs.
type bench struct {
	kinds []step.Kind
	mu    sync.Mutex
	runs  []string
}

func newBench(versions map[string]int) *bench {
	b := &bench{}
	add := func(k fake) {
		k.mu, k.runs, k.version = &b.mu, &b.runs, versions[k.name]
		b.kinds = append(b.kinds, k)
	}
	add(fake{name: "join"})
	add(fake{name: "length", run: length})
	add(fake{name: "hand", book: handbookOfHands, run: pass})
	add(fake{name: "word", book: func(h *step.Handbook) { h.Word = true; h.Outputs[0].Many = true }, run: pass})
	return b
}

// pass gives the first input on as it is.
func pass(_ context.Context, job *step.Job) (*step.Outcome, error) {
	return &step.Outcome{}, job.Pass("out", job.Inputs["in"][0])
}

// ran returns how many steps ran since it was last asked.
func (b *bench) ran() int {
	b.mu.Lock()
	defer b.mu.Unlock()
	n := len(b.runs)
	b.runs = nil
	return n
}

// handbookOfHands is a handbook of handwork: "in" is the person's file.
func handbookOfHands(h *step.Handbook) {
	h.Hand = true
	h.Inputs[0].Optional = false
	h.Inputs[1].Named = false
}

// keeper is a step that keeps something for itself and notes whether it found it.
func keeper(found *[]bool) func(context.Context, *step.Job) (*step.Outcome, error) {
	return func(_ context.Context, job *step.Job) (*step.Outcome, error) {
		r, ok := job.Prior("part one")
		if ok {
			r.Close()
		}
		*found = append(*found, ok)
		if err := job.Keep("part one", []byte("work of hours")); err != nil {
			return nil, err
		}
		return join(job, "x")
	}
}

func contextWithTimeout(t testing.TB, d time.Duration) (context.Context, context.CancelFunc) {
	return context.WithTimeout(t.Context(), d)
}

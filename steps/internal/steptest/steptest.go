// Package steptest runs a step in a test as the engine would: inputs from
// memory, values with the handbook's defaults, outputs gathered, and the
// promises of a step checked (declared names only, finite spots, numbered
// from one).
package steptest

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"

	"layette/engine/step"
	"layette/engine/unit"
)

// Given is what a test hands a step.
type Given struct {
	Inputs  map[string][]step.File
	Values  step.Values // in base units; what is left out takes the handbook's default
	Workers int         // 2 unless set
	Kept    Kept        // what earlier runs left; nil keeps nothing
}

// Kept is what steps leave for later runs, by key.
type Kept map[string][]byte

// Damaged returns what was kept with every piece cut short.
func (k Kept) Damaged() Kept {
	out := Kept{}
	for key, data := range k {
		out[key] = data[:len(data)/2]
	}
	return out
}

// Result is what came back. Files maps "output/name" to bytes.
type Result struct {
	*step.Outcome
	Files map[string][]byte
	Order []string // the keys of Files, sorted
}

// File returns an input file with the given bytes.
func File(name string, data []byte, units string) step.File {
	sum := sha256.Sum256(data)
	return step.File{
		Name: name, Units: units, Size: int64(len(data)), SHA256: hex.EncodeToString(sum[:]),
		Open: func() (step.Reader, error) { return reader{bytes.NewReader(data)}, nil },
	}
}

type reader struct{ *bytes.Reader }

func (reader) Close() error { return nil }

// Run runs kind and fails the test on an error or a broken promise.
func Run(t testing.TB, kind step.Kind, given Given) *Result {
	t.Helper()
	r, err := Try(t, kind, given)
	if err != nil {
		t.Fatalf("%s: %v", kind.Handbook().Name, err)
	}
	return r
}

// Try is Run for a step that is expected to fail.
func Try(t testing.TB, kind step.Kind, given Given) (*Result, error) {
	t.Helper()
	return try(t.Context(), t, kind, given)
}

func try(ctx context.Context, t testing.TB, kind step.Kind, given Given) (*Result, error) {
	t.Helper()
	book := kind.Handbook()
	r := &Result{Files: map[string][]byte{}}
	job := &step.Job{Inputs: given.Inputs, Values: Values(t, book, given.Values), Workers: given.Workers, Progress: step.NoProgress}
	if job.Workers == 0 {
		job.Workers = 2
	}
	var lock sync.Mutex
	put := func(output, name string, data []byte) error {
		lock.Lock()
		defer lock.Unlock()
		key := output + "/" + name
		if _, taken := r.Files[key]; taken {
			return fmt.Errorf("output %s written twice", key)
		}
		r.Files[key] = data
		return nil
	}
	job.Create = func(output, name string) (io.WriteCloser, error) {
		declared(t, book, output, name)
		return &sink{done: func(b []byte) error { return put(output, name, b) }}, nil
	}
	if given.Kept != nil {
		job.Prior = func(key string) (step.Reader, bool) {
			lock.Lock()
			defer lock.Unlock()
			data, ok := given.Kept[key]
			return reader{bytes.NewReader(data)}, ok
		}
		job.Keep = func(key string, data []byte) error {
			lock.Lock()
			defer lock.Unlock()
			given.Kept[key] = bytes.Clone(data)
			return nil
		}
	}
	job.Pass = func(output string, f step.File) error {
		declared(t, book, output, f.Name)
		in, err := f.Open()
		if err != nil {
			return err
		}
		defer in.Close()
		data, err := io.ReadAll(in)
		if err != nil {
			return err
		}
		return put(output, f.Name, data)
	}
	out, err := kind.Run(ctx, job)
	if err != nil {
		return nil, err
	}
	r.Outcome = out
	for k := range r.Files {
		r.Order = append(r.Order, k)
	}
	slices.Sort(r.Order)
	promises(t, book, out)
	return r, nil
}

type sink struct {
	bytes.Buffer
	done   func([]byte) error
	closed bool
}

func (s *sink) Close() error {
	if s.closed {
		return fmt.Errorf("closed twice")
	}
	s.closed = true
	return s.done(s.Bytes())
}

func declared(t testing.TB, book step.Handbook, output, name string) {
	t.Helper()
	if !slices.ContainsFunc(book.Outputs, func(o step.Output) bool { return o.Name == output }) {
		t.Errorf("%s writes output %q, which its handbook does not declare", book.Name, output)
	}
	if name == "" || strings.HasPrefix(name, "/") || slices.Contains(strings.Split(name, "/"), "..") {
		t.Errorf("%s names an output file %q", book.Name, name)
	}
}

// Values returns the handbook's defaults overlaid by given, as the engine
// would hand them to the step.
func Values(t testing.TB, book step.Handbook, given step.Values) step.Values {
	t.Helper()
	values := step.Values{}
	for _, v := range book.Values {
		if x, ok := given[v.Name]; ok {
			values[v.Name] = x
			continue
		}
		if v.Default == "" {
			if !v.Optional {
				t.Fatalf("%s: value %q has no default and the test gives none", book.Name, v.Name)
			}
			continue
		}
		x, err := plain(v.Type, v.Default)
		if err != nil {
			t.Fatalf("%s: default of %q: %v", book.Name, v.Name, err)
		}
		values[v.Name] = x
	}
	for name := range given {
		if !slices.ContainsFunc(book.Values, func(v step.Value) bool { return v.Name == name }) {
			t.Errorf("%s declares no value %q", book.Name, name)
		}
	}
	return values
}

func promises(t testing.TB, book step.Handbook, out *step.Outcome) {
	t.Helper()
	for name := range out.Measures {
		if !slices.ContainsFunc(book.Measures, func(m step.Measure) bool { return m.Name == name }) {
			t.Errorf("%s measures %q, which its handbook does not declare", book.Name, name)
		}
	}
	for i, s := range out.Spots {
		if s.Number != i+1 {
			t.Errorf("%s: spot %d is numbered %d", book.Name, i+1, s.Number)
		}
		if s.Says == "" || s.What == "" {
			t.Errorf("%s: spot %d says nothing", book.Name, s.Number)
		}
		for _, x := range s.At {
			if math.IsNaN(x) || math.IsInf(x, 0) {
				t.Errorf("%s: spot %d is nowhere: %v", book.Name, s.Number, s.At)
			}
		}
	}
}

// plain reads a default as a handbook writes it.
func plain(kind step.ValueType, text string) (any, error) {
	switch kind {
	case step.OneWord, step.String:
		return text, nil
	case step.Flag:
		return strconv.ParseBool(text)
	case step.Count:
		return strconv.ParseInt(text, 10, 64)
	}
	return unit.ParseAs(text, kind)
}

package store

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"time"
)

// Trace is what is remembered of a stage that ran: under which fingerprint,
// what it found and what it made.
type Trace struct {
	Format      int             `json:"format"`
	Fingerprint string          `json:"fingerprint"` // the whole text
	Outputs     []Made          `json:"outputs"`
	Outcome     json.RawMessage `json:"outcome,omitempty"`
	Failure     string          `json:"failure,omitempty"` // why it could not be computed
	By          Provenance      `json:"by"`                // kept beside, counts for nothing
}

// Made is a file that a stage gives.
type Made struct {
	Output string `json:"output"`
	Name   string `json:"name"`
	SHA256 string `json:"sha256"`
	Size   int64  `json:"size"`
	Units  string `json:"units,omitempty"`
	// Passed names the input, and Place the file among the input's, that was
	// given on as it is; such a file is not stored again.
	Passed string `json:"passed,omitempty"`
	Place  int    `json:"place,omitempty"`
}

// Provenance says how a trace came to be.
type Provenance struct {
	Stage   string        `json:"stage"`
	When    time.Time     `json:"when"`
	Took    time.Duration `json:"took"`
	Machine string        `json:"machine,omitempty"`
	Tool    string        `json:"tool,omitempty"`
}

const (
	traceFormat = 1
	traceLimit  = 1 << 28
	stored      = ".json"
	notStored   = ".failed.json"
)

// PutTrace stores a trace under its fingerprint's key. A trace that is there
// already stays: the first result is what was signed. A failure gives way to
// whatever comes later.
func (s *Store) PutTrace(t *Trace) error {
	t.Format = traceFormat
	key := KeyOf(t.Fingerprint)
	data, err := json.Marshal(t)
	if err != nil {
		return err
	}
	if t.Failure != "" {
		return s.Publish(spread("traces", key, notStored), data)
	}
	if old, err := s.Trace(key); err == nil && old.Failure == "" {
		return nil
	}
	if err := s.Publish(spread("traces", key, stored), data); err != nil {
		return err
	}
	if err := s.root.Remove(spread("traces", key, notStored)); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	return nil
}

// ErrNoTrace means that a stage never ran under a fingerprint.
var ErrNoTrace = errors.New("never run")

// Trace returns the trace stored under key, of a success if there is one. A
// damaged trace is as good as none.
func (s *Store) Trace(key string) (*Trace, error) {
	for _, suffix := range []string{stored, notStored} {
		t, err := s.readTrace(spread("traces", key, suffix), key)
		if err == nil {
			return t, nil
		}
		if !errors.Is(err, fs.ErrNotExist) && !errors.Is(err, errDamaged) {
			return nil, err
		}
	}
	return nil, ErrNoTrace
}

var errDamaged = errors.New("the trace is damaged")

func (s *Store) readTrace(name, key string) (*Trace, error) {
	data, err := s.readAll(name, traceLimit)
	if err != nil {
		return nil, err
	}
	t := &Trace{}
	if err := json.Unmarshal(data, t); err != nil {
		return nil, fmt.Errorf("%w: %s: %v", errDamaged, name, err)
	}
	if t.Format != traceFormat || KeyOf(t.Fingerprint) != key {
		return nil, fmt.Errorf("%w: %s is another stage's", errDamaged, name)
	}
	return t, nil
}

// RemoveTrace takes a trace away, so that its stage runs again.
func (s *Store) RemoveTrace(key string) error {
	err := s.root.Remove(spread("traces", key, stored))
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	return err
}

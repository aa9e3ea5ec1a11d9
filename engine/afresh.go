package engine

import (
	"bytes"
	"fmt"

	"layette/engine/store"
)

// NotTheSameTwice means that a step, run again on the same, gave something
// else: it is not a function of its inputs, and what was signed cannot be made again.
type NotTheSameTwice struct{ Says string }

func (e *NotTheSameTwice) Error() string { return "not the same twice: " + e.Says }

// sameTwice compares two runs of one fingerprint and tells the first difference.
func sameTwice(was, is *store.Trace) error {
	if len(was.Outputs) != len(is.Outputs) {
		return &NotTheSameTwice{fmt.Sprintf("%d files before, %d now", len(was.Outputs), len(is.Outputs))}
	}
	for i, a := range was.Outputs {
		if b := is.Outputs[i]; a != b {
			return &NotTheSameTwice{fmt.Sprintf("output %s was %s (%d bytes) and is %s (%d bytes)", a.Output, short(a.SHA256), a.Size, short(b.SHA256), b.Size)}
		}
	}
	if !bytes.Equal(was.Outcome, is.Outcome) {
		return &NotTheSameTwice{"what it found differs: " + firstDifference(was.Outcome, is.Outcome)}
	}
	return nil
}

// firstDifference shows where two texts part.
func firstDifference(a, b []byte) string {
	i := 0
	for i < len(a) && i < len(b) && a[i] == b[i] {
		i++
	}
	from := max(0, i-40)
	return fmt.Sprintf("…%s and …%s", a[from:min(len(a), i+40)], b[from:min(len(b), i+40)])
}

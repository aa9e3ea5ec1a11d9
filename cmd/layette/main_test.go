package main

import (
	"bytes"
	"context"
	"strings"
	"testing"
)

// layette runs the program in-process and returns what it wrote and its exit code.
func layette(t *testing.T, args ...string) (stdout, stderr string, code int) {
	t.Helper()
	var out, errs bytes.Buffer
	code = run(t.Context(), args, strings.NewReader(""), &out, &errs)
	return out.String(), errs.String(), code
}

func TestWrongCommandLines(t *testing.T) {
	for _, args := range [][]string{{"stpes"}, {"steps", "--no-such"}, {"steps", "a", "b"}, {"steps", "no-such-step"}} {
		if _, errs, code := layette(t, args...); code != exitUsage || !strings.Contains(errs, "hint: ") {
			t.Errorf("layette %v ends with %d and says %q; want %d and a hint", args, code, errs, exitUsage)
		}
	}
}

func TestInterrupted(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	var errs bytes.Buffer
	a := newApp(nil, nil, &errs)
	if code := a.exitCode(ctx, context.Cause(ctx)); code != exitInterrupted {
		t.Errorf("exit code %d, want %d", code, exitInterrupted)
	}
}

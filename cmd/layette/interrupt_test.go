package main

import (
	"bytes"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// tells does something when a text is written to it.
type tells struct {
	text string
	do   func()
}

func (w *tells) Write(p []byte) (int, error) {
	if bytes.Contains(p, []byte(w.text)) {
		w.do()
	}
	return len(p), nil
}

// TestCtrlC: a watch ends at the first Ctrl-C, at once and with exit code 130.
func TestCtrlC(t *testing.T) {
	dir := t.TempDir()
	t.Setenv("LAYETTE_MEMORY", filepath.Join(dir, "memory"))
	t.Setenv("HOME", dir)
	for name, text := range map[string]string{
		"model.toml":        "format = 1\nrecipe = \"line\"\n",
		"recipes/line.toml": "format = 1\ntitle = \"A line\"\n[stages.a]\nstep = \"handwork\"\nsurface = { file = \"a.stl\", units = \"mm\" }\n",
	} {
		at := filepath.Join(dir, name)
		if err := errors.Join(os.MkdirAll(filepath.Dir(at), 0o777), os.WriteFile(at, []byte(text), 0o666)); err != nil {
			t.Fatal(err)
		}
	}
	var pressed time.Time
	out := &tells{"watching", func() {
		pressed = time.Now()
		if me, err := os.FindProcess(os.Getpid()); err != nil || me.Signal(os.Interrupt) != nil {
			t.Skip("this system sends no interrupts: ", err)
		}
	}}
	var errs bytes.Buffer
	code := run(t.Context(), []string{"run", "--watch", "--model", dir}, strings.NewReader(""), out, &errs)
	if code != exitInterrupted || !strings.Contains(errs.String(), "run again to go on") {
		t.Errorf("exit code %d, want %d: %s", code, exitInterrupted, errs.String())
	}
	if took := time.Since(pressed); took > time.Second { // 100 ms is asked for; a busy machine may need more
		t.Errorf("it took %s", took)
	}
}

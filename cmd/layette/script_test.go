package main

import (
	"bytes"
	"context"
	"errors"
	"flag"
	"image"
	"image/png"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/rogpeppe/go-internal/testscript"

	"layette/engine/step"
)

var update = flag.Bool("update", false, "rewrite the scripts' expected outputs")

func TestMain(m *testing.M) { testscript.Main(m, map[string]func(){"layette": main}) }

// TestScripts runs the program as people do. Files of a script are a moment
// old, so each first run waits the 2 s in which a file may still grow.
func TestScripts(t *testing.T) { runScripts(t, "testdata") }

// TestDemo makes the invented studio, small, and types the lines that it
// prints: a minute of work, done where LAYETTE_DEMO is set.
func TestDemo(t *testing.T) {
	if os.Getenv("LAYETTE_DEMO") == "" {
		t.Skip("LAYETTE_DEMO is not set: the demo's lines are not typed")
	}
	runScripts(t, "testdata/demo")
}

func runScripts(t *testing.T, dir string) {
	testscript.Run(t, testscript.Params{
		Dir: dir, UpdateScripts: *update, RequireExplicitExec: true, RequireUniqueNames: true,
		Setup: func(e *testscript.Env) error {
			e.Setenv("LAYETTE_MEMORY", filepath.Join(e.WorkDir, "memory"))
			e.Setenv("HOME", e.WorkDir)
			var b bytes.Buffer
			if err := png.Encode(&b, image.NewGray(image.Rect(0, 0, 30, 40))); err != nil {
				return err
			}
			return os.WriteFile(filepath.Join(e.WorkDir, "photo.png"), b.Bytes(), 0o644)
		},
	})
}

// pokes is a step that does what its value says, for the table of exit codes.
type pokes struct{ cancel func() }

func (pokes) Handbook() step.Handbook {
	return step.Handbook{
		Name: "pokes", Version: 1, Summary: "A step for tests.",
		Values:   []step.Value{{Name: "how", Type: step.String}},
		Measures: []step.Measure{{Name: "size", Type: step.Count}},
	}
}

func (k pokes) Run(ctx context.Context, job *step.Job) (*step.Outcome, error) {
	switch job.Values.Text("how") {
	case "fail":
		return nil, errors.New("it cannot be told")
	case "interrupt":
		k.cancel()
		<-ctx.Done()
		return nil, context.Cause(ctx)
	}
	return &step.Outcome{Measures: map[string]any{"size": int64(3)}}, nil
}

func TestExitCodes(t *testing.T) {
	const sign = "[roles.sculptor]\ndoc = \"x\"\n[stages.a.sign]\nrole = \"sculptor\"\nmeaning = \"I looked\"\n"
	tests := []struct {
		name, how, more string
		args            []string
		want            int
	}{
		{"done", "well", "", []string{"run"}, exitDone},
		{"could not be computed", "fail", "", []string{"run"}, exitFailed},
		{"no such flag", "well", "", []string{"run", "--no"}, exitUsage},
		{"no such stage", "well", "", []string{"run", "b"}, exitUsage},
		{"a recipe that is wrong", "well", "[stages.b]\n", []string{"run"}, exitUsage},
		{"odd memory", "well", "", []string{"run", "--memory", "much"}, exitUsage},
		{"held by a gate", "well", "[stages.a.gates.g]\nrule = \"size > 3\"\nwhy = \"x\"\n", []string{"run"}, exitHeld},
		{"awaits a person", "well", sign, []string{"run"}, exitWaits},
		{"a failure is graver than a gate", "well", "[stages.a.gates.g]\nrule = \"size > 3\"\nwhy = \"x\"\n[stages.b]\nstep = \"pokes\"\nvalues = { how = \"fail\" }\n", []string{"run"}, exitFailed},
		{"interrupted", "interrupt", "", []string{"run"}, exitInterrupted},
		{"due, to be run", "well", "", []string{"due"}, exitDone},
		{"as JSON too", "fail", "", []string{"run", "--json"}, exitFailed},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			dir := t.TempDir()
			put := func(name, text string) {
				at := filepath.Join(dir, name)
				if err := errors.Join(os.MkdirAll(filepath.Dir(at), 0o777), os.WriteFile(at, []byte(text), 0o666)); err != nil {
					t.Fatal(err)
				}
			}
			put("model.toml", "format = 1\nrecipe = \"line\"\n")
			put("recipes/line.toml", "format = 1\ntitle = \"A line\"\n[stages.a]\nstep = \"pokes\"\nvalues = { how = \""+tt.how+"\" }\n"+tt.more)
			ctx, cancel := context.WithCancel(t.Context())
			defer cancel()
			var errs strings.Builder
			a := &app{stdin: strings.NewReader(""), stdout: io.Discard, stderr: &errs, dir: dir, now: time.Now, kinds: []step.Kind{pokes{cancel}}}
			a.env = func(string) string { return dir }
			root := newRootCmd(a)
			root.SetArgs(tt.args)
			if code := a.exitCode(ctx, root.ExecuteContext(ctx)); code != tt.want {
				t.Errorf("exit code %d, want %d; %s", code, tt.want, errs.String())
			}
		})
	}
}

package engine

import (
	"context"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"layette/engine/step"
)

const told = `
[parts.head]
[tolerances]
gap = "1 mm"
[stages.first]
step = "join"
each = "part"
in = { file = "sculpt/{part}.stl", units = "mm" }
[stages.first.gates.wide]
rule = "width >= tolerances.gap"
why = "narrow ones tear"
[stages.pack]
step = "pack"
named = { from = "first", output = "account" }
`

// pack gives every input on under a new name, as the bag does.
func pack(_ context.Context, job *step.Job) (*step.Outcome, error) {
	for _, f := range job.Inputs["named"] {
		f.Name = "packed/" + f.Part + ".json"
		if err := job.Pass("out", f); err != nil {
			return nil, err
		}
	}
	return &step.Outcome{}, nil
}

// TestAccount: a stage's account reaches the stage that asks for it, is laid
// out under the name it was packed with, wakes that stage when a gate's limit
// changes although no file did, and stays asleep otherwise.
func TestAccount(t *testing.T) {
	b := newBench(nil)
	b.kinds = append(b.kinds, fake{name: "pack", mu: &b.mu, runs: &b.runs, run: pack, book: func(h *step.Handbook) { h.Outputs[0].Kind, h.Outputs[0].Many = step.Any, true }})
	f := newFolder(t, told, map[string]string{"sculpt/head.stl": "one"})
	board := f.run(b, RunOptions{})
	if n := b.ran(); n != 2 || board.Count()[Done] != 2 {
		t.Fatalf("%d ran: %v", n, says2(board))
	}
	at := filepath.Join(f.dir, "out", "kit", "pack", "packed", "head.json")
	data, err := os.ReadFile(at)
	if err != nil {
		t.Fatal(err)
	}
	var a step.Account
	if err := json.Unmarshal(data, &a); err != nil {
		t.Fatal(err)
	}
	if a.Stage != "first" || a.Part != "head" || len(a.Gates) != 1 || a.Gates[0].Verdict != "passes" || !strings.Contains(strings.Join(a.Gates[0].Saw, " "), "width = 1 mm") {
		t.Errorf("account %+v", a)
	}
	if f.run(b, RunOptions{}); b.ran() != 0 {
		t.Error("an idle run ran something")
	}
	f.recipe(strings.Replace(told, "1 mm", "0.9 mm", 1))
	if f.run(b, RunOptions{}); b.ran() != 1 {
		t.Error("a new limit did not wake the stage that packs the account, and it alone")
	}
}

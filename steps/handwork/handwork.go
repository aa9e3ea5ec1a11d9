// Package handwork is the step for what only hands can do: seams cleaned,
// nostrils and eyelid lines rebuilt, ears, open mouths. The engine waits for
// the person's file and never writes it; which surface it was made from is
// recorded when the maker signs for it.
package handwork

import (
	"context"
	"errors"

	"layette/engine/step"
)

// Kind is the step.
type Kind struct{}

// Handbook implements step.Kind.
func (Kind) Handbook() step.Handbook {
	return step.Handbook{
		Name:    "handwork",
		Version: 1,
		Summary: "Takes in a file from a person's hands and gives it on untouched.",
		Method: "The stage waits until the file is there. With `layette sign STAGE PART --verdict made` the maker " +
			"records which surface it was made from. When that surface changes, the stage is due again, by a person: " +
			"the file is neither rebuilt nor overwritten, and what comes after it waits until the maker has signed anew.",
		Inputs: []step.Input{
			{Name: "surface", Kind: step.Surface, Doc: "the person's file"},
			{Name: "made-from", Kind: step.Surface, Many: true, Optional: true, Doc: "what it is made from: a merged surface, a casting"},
		},
		Outputs:  []step.Output{{Name: "surface", Kind: step.Surface, Doc: "the person's file, byte for byte"}},
		Measures: []step.Measure{{Name: "bytes", Type: step.Count, Doc: "size of the file"}},
		Hand:     true,
		Memory:   0,
	}
}

// Run implements step.Kind.
func (Kind) Run(ctx context.Context, job *step.Job) (*step.Outcome, error) {
	files := job.Inputs["surface"]
	if len(files) != 1 {
		return nil, errors.New("one file from a person's hands is wanted")
	}
	if err := job.Pass("surface", files[0]); err != nil {
		return nil, err
	}
	return &step.Outcome{Measures: map[string]any{"bytes": files[0].Size}}, nil
}

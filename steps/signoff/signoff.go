// Package signoff is the step that is only a person's word over named inputs:
// nothing is computed, and the stage is done when those whom the recipe asks
// have signed for exactly this content.
package signoff

import (
	"context"

	"layette/engine/step"
)

// Kind is the step.
type Kind struct{}

// Handbook implements step.Kind.
func (Kind) Handbook() step.Handbook {
	return step.Handbook{
		Name:    "signoff",
		Version: 1,
		Summary: "A person's word over named inputs.",
		Method: "Computes nothing. The recipe's sign table says whose word is wanted, how many different people, what each " +
			"vouches for and which questions each answers. The word holds for exactly the bytes it was given for: change " +
			"one and the people are asked again, change it back and their old word counts again.",
		Sources: []string{
			"21 CFR 11.50 and 11.70 (modelled on: printed name, time and meaning with each signature, bound to the content)",
		},
		Cautions: []string{"A signature proves that the key's holder said so about these bytes, not that somebody looked."},
		Inputs:   []step.Input{{Name: "about", Kind: step.Any, Many: true, Named: true, Doc: "what the word is about"}},
		Outputs:  []step.Output{{Name: "about", Kind: step.Any, Many: true, Doc: "the same files, given on"}},
		Measures: []step.Measure{{Name: "files", Type: step.Count, Doc: "how many files the word is about"}},
		Word:     true,
	}
}

// Run implements step.Kind.
func (Kind) Run(ctx context.Context, job *step.Job) (*step.Outcome, error) {
	files := job.Inputs["about"]
	for _, f := range files {
		if err := job.Pass("about", f); err != nil {
			return nil, err
		}
	}
	return &step.Outcome{Measures: map[string]any{"files": int64(len(files))}}, nil
}

package align

import (
	"context"

	"layette/engine/step"
)

// Kind is the step.
type Kind struct{}

// Handbook implements step.Kind.
func (Kind) Handbook() step.Handbook { return step.Handbook{Name: "align", Version: 1} }

// Run implements step.Kind.
func (Kind) Run(ctx context.Context, job *step.Job) (*step.Outcome, error) { return nil, nil }

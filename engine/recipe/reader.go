package recipe

import (
	"layette/engine/diag"
	"layette/engine/step"
)

// A reader reads one recipe and gathers what is wrong with it.
type reader struct {
	src   Sources
	kinds map[string]step.Kind
	bad   diag.Problems
}

// at gathers a problem with a value.
func (r *reader) at(n *node, code, msg, hint string) *diag.Problem {
	p := &diag.Problem{Pos: n.at, Code: code, Msg: msg, Hint: hint}
	r.bad.Add(p)
	return p
}

package diag

import (
	"fmt"
	"strings"

	"github.com/hashicorp/go-multierror"
)

// shown is how many problems are printed at once; the rest are counted.
const shown = 20

// Err returns all that was gathered as one error, or nil if there is nothing.
// Printed, it is the problems in order of place, at most 20 of them; Of gets
// the problems back, and errors.As finds the first.
func (ps *Problems) Err() error {
	gathered := &multierror.Error{ErrorFormat: format}
	for _, p := range ps.All() {
		gathered = multierror.Append(gathered, p)
	}
	return gathered.ErrorOrNil()
}

// Of returns every problem within err, however wrapped, in order of place and
// without repetitions.
func Of(err error) []*Problem {
	var list []*Problem
	collect(err, &list)
	return inOrder(list)
}

func collect(err error, list *[]*Problem) {
	switch e := err.(type) {
	case nil:
	case *Problem:
		*list = append(*list, e)
	case *multierror.Error:
		for _, inner := range e.Errors {
			collect(inner, list)
		}
	case interface{ Unwrap() []error }:
		for _, inner := range e.Unwrap() {
			collect(inner, list)
		}
	case interface{ Unwrap() error }:
		collect(e.Unwrap(), list)
	}
}

// format prints problems shortly, a line each: for logs and wrapped errors.
// Render shows them to people.
func format(errs []error) string {
	if len(errs) == 1 {
		return errs[0].Error()
	}
	var b strings.Builder
	fmt.Fprintf(&b, "%d problems:", len(errs))
	for _, err := range errs[:min(len(errs), shown)] {
		b.WriteString("\n  " + strings.ReplaceAll(err.Error(), "\n", "\n    "))
	}
	if more := len(errs) - shown; more > 0 {
		fmt.Fprintf(&b, "\n  ... and %d more", more)
	}
	return b.String()
}

package gate

import (
	"errors"
	"fmt"
	"math"
	"strconv"

	"github.com/expr-lang/expr"

	"layette/engine/diag"
)

// arithmetic is how rules reckon: a result that is no finite number ends the
// judging, and the gate is unknown.
var arithmetic = map[string]func(...any) (any, error){
	"plus":  reckoner(func(a, b float64) float64 { return a + b }),
	"minus": reckoner(func(a, b float64) float64 { return a - b }),
	"times": reckoner(func(a, b float64) float64 { return a * b }),
	"over":  reckoner(func(a, b float64) float64 { return a / b }),
}

var errNotFinite = errors.New("the rule divides by nought or leaves the range of numbers")

func reckoner(f func(a, b float64) float64) func(...any) (any, error) {
	return func(args ...any) (any, error) {
		x := f(float(args[0]), float(args[1]))
		if !finite(x) {
			return 0.0, errNotFinite
		}
		return x, nil
	}
}

// float returns a number that a rule reckons with; lengths of lists are ints.
func float(v any) float64 {
	switch n := v.(type) {
	case int:
		return float64(n)
	case int64:
		return float64(n)
	case float64:
		return n
	}
	return math.NaN()
}

func finite(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }

// Judge judges the values, by name, in base units as step.Values and
// step.Outcome hold them. A name without a value, a number that is not finite
// and an empty list make it Unknown.
func (r *Rule) Judge(values map[string]any) Verdict {
	v := Verdict{Rule: r.text}
	env := make(map[string]any, len(r.names))
	for i, n := range r.names {
		value, why := usable(n, values[n.Name])
		if why != "" && v.Says == "" {
			v.Says = why
		}
		env[r.slots[i]] = value
		v.Saw = append(v.Saw, Saw{n.Name, n.Type, n.Unit, told(values[n.Name])})
	}
	if v.Says != "" {
		v.State = Unknown
		return v
	}
	yes, err := expr.Run(r.program, env)
	switch passed, ok := yes.(bool); {
	case err != nil || !ok:
		v.State, v.Says = Unknown, errNotFinite.Error()
		return v
	case passed:
		v.State = Passes
	default:
		v.State = Holds
	}
	if r.margin != nil {
		if by, err := expr.Run(r.margin, env); err == nil {
			v.Margin = &Margin{trimmed(float(by)), r.apart.Type, r.apart.Unit}
		}
	}
	return v
}

// usable returns a value as rules reckon with it, or why it cannot be.
func usable(n Name, value any) (any, string) {
	switch v := value.(type) {
	case nil:
		return nil, n.Name + " was not found"
	case float64, int64, int:
		return usableNumber(n, float(v))
	case bool, string:
		return v, mismatch(n, sample(n), v)
	case []float64:
		return usableList(n, v)
	case []int64:
		list := make([]float64, len(v))
		for i, x := range v {
			list[i] = float64(x)
		}
		return usableList(n, list)
	case []bool:
		return v, empty(n, len(v), v)
	case []string:
		return v, empty(n, len(v), v)
	}
	return nil, fmt.Sprintf("%s is of a sort no rule can judge", n.Name)
}

func usableNumber(n Name, x float64) (any, string) {
	if !finite(x) {
		return x, n.Name + " is not a finite number"
	}
	return x, mismatch(n, sample(n), x)
}

func usableList(n Name, list []float64) (any, string) {
	for _, x := range list {
		if !finite(x) {
			return list, n.Name + " holds a number that is not finite"
		}
	}
	return list, empty(n, len(list), list)
}

func empty(n Name, length int, list any) string {
	if length == 0 {
		return n.Name + " is an empty list"
	}
	return mismatch(n, sample(n), list)
}

// mismatch says that a value is not of the sort it was declared as.
func mismatch(n Name, declared, value any) string {
	if fmt.Sprintf("%T", declared) != fmt.Sprintf("%T", value) {
		return fmt.Sprintf("%s is not %s", n.Name, diag.A(string(n.Type)))
	}
	return ""
}

// told returns a value that JSON can hold.
func told(value any) any {
	switch v := value.(type) {
	case float64:
		if !finite(v) {
			return strconv.FormatFloat(v, 'g', -1, 64)
		}
	case []float64:
		for _, x := range v {
			if !finite(x) {
				return fmt.Sprint(v)
			}
		}
	}
	return value
}

// trimmed rounds a margin to 12 digits, so that 1.5 - 1.2 reads 0.3.
func trimmed(x float64) float64 {
	x, _ = strconv.ParseFloat(strconv.FormatFloat(x, 'g', 12, 64), 64)
	return x
}

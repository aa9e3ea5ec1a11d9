package engine

import (
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strings"

	"layette/engine/step"
	"layette/engine/unit"
)

// outcome is a step's outcome as a trace stores it.
type outcome struct {
	Measures map[string]any `json:"measures,omitempty"`
	Spots    []step.Spot    `json:"spots,omitempty"`
	Notes    []string       `json:"notes,omitempty"`
}

// settled returns what a step answered in the form in which it is stored and
// judged: every measure declared and of its type, rounded to its resolution,
// nil where a number is not finite.
func settled(book step.Handbook, n Node, o *step.Outcome) (*outcome, error) {
	out := &outcome{Measures: map[string]any{}, Spots: slices.Clone(o.Spots), Notes: o.Notes}
	for name, value := range o.Measures {
		i := slices.IndexFunc(book.Measures, func(m step.Measure) bool { return m.Name == name })
		if i < 0 {
			return nil, fmt.Errorf("step %s found %q, which its handbook does not declare", book.Name, name)
		}
		settled, err := settle(book.Measures[i], value)
		if err != nil {
			return nil, fmt.Errorf("step %s found %s %w", book.Name, name, err)
		}
		out.Measures[name] = settled
	}
	for i := range out.Spots {
		s := &out.Spots[i]
		if s.Part == "" {
			s.Part = n.Part
		}
		if s.Scan == "" {
			s.Scan = n.Scan
		}
		if !finiteSpot(s) {
			return nil, fmt.Errorf("step %s found spot %d (%s) at no finite place", book.Name, s.Number, s.What)
		}
	}
	return out, nil
}

// settle brings one measure into the form of its declaration.
func settle(m step.Measure, value any) (any, error) {
	switch v := value.(type) {
	case float64:
		value = rounded(v, m.Resolution)
	case int:
		value = int64(v)
	case []float64:
		list := make([]any, len(v))
		for i, x := range v {
			list[i] = rounded(x, m.Resolution)
		}
		return list, many(m, true)
	case []int64, []string, []bool:
		return v, many(m, true)
	case int64, bool, string, nil:
	default:
		return nil, fmt.Errorf("of the unknown type %T", value)
	}
	if !fits(m.Type, value) {
		return nil, fmt.Errorf("as %T where the handbook says %s", value, m.Type)
	}
	return value, many(m, false)
}

func many(m step.Measure, list bool) error {
	if m.Many == list {
		return nil
	}
	return fmt.Errorf("as one value where the handbook says a list, or the other way round")
}

func fits(typ step.ValueType, value any) bool {
	switch value.(type) {
	case float64:
		return typ != step.Count && typ != step.Flag && typ != step.String && typ != step.OneWord
	case int64:
		return typ == step.Count
	case bool:
		return typ == step.Flag
	case string:
		return typ == step.String || typ == step.OneWord
	}
	return true // nil: unknown
}

// rounded rounds to a resolution, so that the last bits of a long sum decide
// nothing; what is not finite is nil, unknown.
func rounded(x, resolution float64) any {
	switch {
	case math.IsNaN(x) || math.IsInf(x, 0):
		return nil
	case resolution <= 0:
		return x + 0
	}
	if per := math.Round(1 / resolution); per >= 1 && math.Abs(per*resolution-1) < 1e-12 {
		return math.Round(x*per)/per + 0 // 0.001 is not exact, 1000 is; and 1/1e-5 is not quite 100000
	}
	return math.Round(x/resolution)*resolution + 0
}

func finiteSpot(s *step.Spot) bool {
	numbers := append(append(append([]float64{s.Radius, s.Value}, s.At[:]...), s.To[:]...), flat(s.Ring)...)
	return !slices.ContainsFunc(numbers, func(x float64) bool { return math.IsNaN(x) || math.IsInf(x, 0) })
}

func flat(ring [][3]float64) []float64 {
	var all []float64
	for _, p := range ring {
		all = append(all, p[:]...)
	}
	return all
}

// replay fills a status with what a stored outcome says.
func (st *Status) replay(book step.Handbook, data []byte) error {
	var o outcome
	if err := json.Unmarshal(data, &o); err != nil {
		return err
	}
	st.Spots, st.Notes = o.Spots, o.Notes
	for _, m := range book.Measures {
		value, err := typed(m, o.Measures[m.Name])
		if err != nil {
			return fmt.Errorf("measure %s: %w", m.Name, err)
		}
		st.Measures = append(st.Measures, Measure{Name: m.Name, Type: m.Type, Unit: m.Unit, Value: value, Doc: m.Doc})
	}
	return nil
}

// typed gives a value read from JSON the type of its declaration. JSON has one
// sort of number; a whole one beyond 2^53 is no count of anything.
func typed(m step.Measure, value any) (any, error) {
	switch v := value.(type) {
	case nil, bool, string:
		return v, nil
	case float64:
		if m.Type == step.Count {
			return int64(v), nil
		}
		return v, nil
	case []any:
		return typedList(m, v)
	}
	return nil, fmt.Errorf("cannot be a %T", value)
}

func typedList(m step.Measure, list []any) (any, error) {
	switch m.Type {
	case step.String, step.OneWord:
		return listOf[string](list)
	case step.Flag:
		return listOf[bool](list)
	case step.Count:
		floats, err := listOf[float64](list)
		counts := make([]int64, len(floats))
		for i, x := range floats {
			counts[i] = int64(x)
		}
		return counts, err
	}
	for i, x := range list {
		if x == nil {
			list[i] = math.NaN() // unknown
		}
	}
	return listOf[float64](list)
}

func listOf[T any](list []any) ([]T, error) {
	out := make([]T, len(list))
	for i, x := range list {
		v, ok := x.(T)
		if !ok {
			return nil, fmt.Errorf("holds a %T", x)
		}
		out[i] = v
	}
	return out, nil
}

// Quantity writes a number with its unit: "1.2 mm", "2 %", "3 mm²".
func Quantity(x float64, typ step.ValueType, sign string) string {
	if sign != "" {
		return fmt.Sprintf("%s %s", unit.Digits(x, 0), sign)
	}
	if unit.Is(typ) {
		return unit.Format(x, typ)
	}
	return unit.Digits(x, 0)
}

// MarshalJSON writes what is unknown in a list as null: JSON has no other word.
func (m Measure) MarshalJSON() ([]byte, error) {
	type plain Measure
	if list, ok := m.Value.([]float64); ok {
		known := make([]any, len(list))
		for i, x := range list {
			known[i] = rounded(x, 0)
		}
		m.Value = known
	}
	return json.Marshal(plain(m))
}

// Text writes a measure's value with its unit; a long list is cut short.
func (m Measure) Text() string {
	switch v := m.Value.(type) {
	case nil:
		return "unknown"
	case []float64:
		return listText(v, func(x float64) string { return Quantity(x, m.Type, m.Unit) })
	case []int64:
		return listText(v, func(x int64) string { return fmt.Sprint(x) })
	case []string:
		return listText(v, func(x string) string { return x })
	case []bool:
		return listText(v, func(x bool) string { return fmt.Sprint(x) })
	case float64:
		return Quantity(v, m.Type, m.Unit)
	case int64:
		if m.Unit != "" {
			return fmt.Sprintf("%d %s", v, m.Unit)
		}
	}
	return fmt.Sprint(m.Value)
}

const listed = 8

func listText[T any](list []T, text func(T) string) string {
	var words []string
	for _, x := range list[:min(len(list), listed)] {
		words = append(words, text(x))
	}
	if len(list) > listed {
		words = append(words, fmt.Sprintf("… (%d in all)", len(list)))
	}
	return "[" + strings.Join(words, ", ") + "]"
}

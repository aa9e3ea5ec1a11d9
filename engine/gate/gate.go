// Package gate judges measures by rules: short yes-or-no sentences over a
// step's measures and a recipe's quantities, such as
//
//	air.least >= tolerances.gap or air.spots == 0
//
// A rule is checked when the recipe is read: a name that nothing declares, a
// sum of unlike units, a rule that is not a yes or no is an error at its
// place. When it is judged, what cannot be known holds.
package gate

import "layette/engine/step"

// Name is something a rule may speak of.
type Name struct {
	Name string         // dotted lower-case words: "air.least", "materials.vinyl.wall"
	Type step.ValueType // of one value
	Unit string         // where Type does not imply it: "mm²"
	Many bool           // a list of such values
}

// Verdict is what a gate says of one set of numbers.
type Verdict struct {
	State  State   `json:"state"`
	Rule   string  `json:"rule"`
	Saw    []Saw   `json:"saw"` // what the rule speaks of, in order of name
	Margin *Margin `json:"margin,omitempty"`
	Says   string  `json:"says,omitempty"` // why it is unknown
}

// State is how a gate stands.
type State string

// The states of a gate. Unknown holds just as Holds does.
const (
	Passes  State = "passes"
	Holds   State = "holds"
	Unknown State = "unknown"
)

// Saw is a name with the value it had when the gate was judged.
type Saw struct {
	Name  string         `json:"name"`
	Type  step.ValueType `json:"type"`
	Unit  string         `json:"unit,omitempty"`
	Value any            `json:"value"` // as step.Values holds it; nil if there was none; a float that is not finite is told as text
}

// Margin is how far a plain comparison of two numbers is from turning over:
// positive where it passes with that much to spare, in the base unit.
type Margin struct {
	By   float64        `json:"by"`
	Type step.ValueType `json:"type"`
	Unit string         `json:"unit,omitempty"`
}

// Text returns the rule as the recipe has it.
func (r *Rule) Text() string { return r.text }

// Names returns what the rule speaks of, in order of name. A gate depends on
// nothing else.
func (r *Rule) Names() []Name { return r.names }

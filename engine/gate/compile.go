package gate

import (
	"cmp"
	"errors"
	"fmt"
	"slices"
	"strings"
	"unicode/utf8"

	"github.com/expr-lang/expr"
	"github.com/expr-lang/expr/ast"
	"github.com/expr-lang/expr/file"
	"github.com/expr-lang/expr/parser"
	"github.com/expr-lang/expr/vm"

	"layette/engine/step"
)

// Bounds of a rule: what a person can take in at a glance, and far below what
// could keep a machine busy.
const (
	maxRule  = 500 // bytes
	maxNodes = 200
)

// Fault is one thing wrong with a rule; From counts runes of the rule's text.
type Fault struct {
	From, Len int
	Code      string
	Says      string
	Hint      string
}

// Rule is a rule that has been checked. It may be judged by many goroutines at once.
type Rule struct {
	text    string
	names   []Name   // in order of name
	slots   []string // what each is called in the program
	program *vm.Program
	margin  *vm.Program // nil unless the rule is a plain comparison
	apart   Name        // type and unit of the margin
}

// Compile checks a rule against what it may speak of. All that is wrong is
// told; the rule is nil then.
func Compile(rule string, scope *Scope) (*Rule, []Fault) {
	if f := outer(rule); f != nil {
		return nil, []Fault{*f}
	}
	tree, err := parser.Parse(joined(rule))
	if err != nil {
		return nil, []Fault{parseFault(rule, err)}
	}
	c := &checker{scope: scope, slots: map[string]int{}}
	root := c.check(tree.Node)
	if root.is != flag && root.is != wrong {
		c.fault(tree.Node, "not-yes-or-no", "the rule is "+root.String()+", not a yes or no", "compare it with something: air.least >= tolerances.gap")
	}
	if len(c.faults) > 0 {
		return nil, c.faults
	}
	return c.rule(rule, root)
}

// outer looks at a rule's text before anything reads it.
func outer(rule string) *Fault {
	switch {
	case len(rule) > maxRule:
		return &Fault{Code: "rule-too-long", Says: fmt.Sprintf("the rule has %d bytes; %d are allowed", len(rule), maxRule), Hint: "make two gates of it"}
	case strings.TrimSpace(rule) == "":
		return &Fault{Code: "rule", Says: "the rule is empty"}
	case !utf8.ValidString(rule):
		return &Fault{Code: "rule", Says: "the rule is not UTF-8 text"}
	}
	return nil
}

// joined writes the hyphens of names as underscores, rune for rune, so that
// "child.head-girth" is a name and "a - b" a difference. Texts are left alone.
func joined(rule string) string {
	runes := []rune(rule)
	var quote rune
	for i := 0; i < len(runes); i++ {
		switch r := runes[i]; {
		case quote != 0 && r == '\\' && quote != '`':
			i++
		case quote != 0:
			if r == quote {
				quote = 0
			}
		case r == '"' || r == '\'' || r == '`':
			quote = r
		case r == '-' && i > 0 && i+1 < len(runes) && letter(runes[i-1], true) && letter(runes[i+1], true) && named(runes[:i]):
			runes[i] = '_'
		}
	}
	return string(runes)
}

func letter(r rune, digits bool) bool {
	return 'a' <= r && r <= 'z' || 'A' <= r && r <= 'Z' || r == '_' || digits && '0' <= r && r <= '9'
}

// named reports whether the word that ends the text begins with a letter.
func named(text []rune) bool {
	i := len(text)
	for i > 0 && letter(text[i-1], true) {
		i--
	}
	return i < len(text) && letter(text[i], false)
}

// parseFault turns the parser's error into a fault in the rule's words.
func parseFault(rule string, err error) Fault {
	f := Fault{Code: "rule", Says: "the rule cannot be read: " + firstLine(err.Error()), Len: 1}
	var at *file.Error
	if errors.As(err, &at) {
		f.From = at.From
		f.Len = max(at.To-at.From, 1)
		f.Says = "the rule cannot be read: " + at.Message
	}
	if strings.Contains(strings.ReplaceAll(rule, "==", ""), "=") && strings.Contains(f.Says, `"="`) {
		f.Hint = `write "==" for "is equal to"`
	}
	return f
}

func firstLine(s string) string {
	s, _, _ = strings.Cut(s, "\n")
	return s
}

// A checker walks a rule's tree. It lets through only what it knows, works out
// what sort of thing each part is, and writes the rule anew with its names as
// slots: nothing it has not written is ever run.
type checker struct {
	scope  *Scope
	slots  map[string]int
	faults []Fault
	nodes  int
	inside *typed // what # stands for, within a predicate
}

type sort byte

const (
	wrong sort = iota // told already; agrees with everything
	number
	flag
	text
	list
)

// typed is what a part of a rule is, and its text written anew.
type typed struct {
	is   sort
	of   sort // of a list's items
	dim  dimension
	bare bool // a number written in the rule itself
	zero bool // which is nought
	unit float64
	code string
	// The two sides of a comparison of numbers, for the margin.
	more, less string
}

func (t typed) String() string {
	switch t.is {
	case number:
		return t.dim.String()
	case flag:
		return "a yes or no"
	case text:
		return "a text"
	case list:
		return "a list"
	}
	return "something unknown"
}

func (c *checker) fault(n ast.Node, code, says, hint string) typed {
	from, till := span(n)
	c.faults = append(c.faults, Fault{From: from, Len: till - from, Code: code, Says: says, Hint: hint})
	return typed{}
}

// span returns the runes that a part of a rule covers.
func span(n ast.Node) (from, till int) {
	at := n.Location()
	from, till = at.From, max(at.To, at.From+1)
	grow := func(inner ast.Node) {
		f, t := span(inner)
		from, till = min(from, f), max(till, t)
	}
	switch n := n.(type) {
	case *ast.MemberNode:
		grow(n.Node)
		grow(n.Property)
	case *ast.BinaryNode:
		grow(n.Left)
		grow(n.Right)
	case *ast.UnaryNode:
		grow(n.Node)
	}
	return from, till
}

// rule makes the rule of what the checker wrote.
func (c *checker) rule(rule string, root typed) (*Rule, []Fault) {
	r := &Rule{text: rule}
	env := map[string]any{}
	for name, slot := range c.slots {
		n, _ := c.scope.find(name)
		r.names = append(r.names, n)
		env[slotName(slot)] = sample(n)
	}
	slices.SortFunc(r.names, func(a, b Name) int { return cmp.Compare(a.Name, b.Name) })
	r.slots = make([]string, len(r.names))
	for i, n := range r.names {
		r.slots[i] = slotName(c.slots[underscored(n.Name)])
	}
	var err error
	if r.program, err = expr.Compile(root.code, append(options(env), expr.AsBool())...); err != nil {
		return nil, []Fault{{Code: "rule", Says: "the rule cannot be used: " + firstLine(err.Error()), Len: utf8.RuneCountInString(rule)}}
	}
	if root.more != "" {
		r.apart = Name{Type: typeOf(root.dim)}
		r.margin, _ = expr.Compile("minus("+root.more+", "+root.less+")", options(env)...)
	}
	return r, nil
}

func options(env map[string]any) []expr.Option {
	opts := []expr.Option{expr.Env(env), expr.MaxNodes(5 * maxNodes)}
	for name, fn := range arithmetic {
		opts = append(opts, expr.Function(name, fn, new(func(any, any) float64)))
	}
	return opts
}

func slotName(n int) string { return fmt.Sprintf("v%d", n) }

// typeOf returns the type whose dimension d is; Number where there is none.
func typeOf(d dimension) step.ValueType {
	for _, kind := range []step.ValueType{step.Number, step.Share, step.Length, step.Area, step.Volume, step.Angle, step.Mass, step.Density, step.Time, step.Temperature} {
		if dimensions[kind] == d {
			return kind
		}
	}
	return step.Number
}

// sample returns a value of the sort a name has when it is judged.
func sample(n Name) any {
	var one any = 0.0
	switch sortOf(n.Type) {
	case flag:
		one = false
	case text:
		one = ""
	}
	if !n.Many {
		return one
	}
	switch one.(type) {
	case bool:
		return []bool{}
	case string:
		return []string{}
	}
	return []float64{}
}

func sortOf(kind step.ValueType) sort {
	switch kind {
	case step.Flag:
		return flag
	case step.String, step.OneWord:
		return text
	}
	if _, ok := dimensions[kind]; ok {
		return number
	}
	return wrong
}

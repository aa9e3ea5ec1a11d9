package gate

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"github.com/expr-lang/expr/ast"

	"layette/engine/diag"
)

// check works out what a part of the rule is. Anything it does not know is
// refused: the list of what a rule may hold is this function.
func (c *checker) check(n ast.Node) typed {
	if c.nodes++; c.nodes > maxNodes {
		if c.nodes == maxNodes+1 {
			c.fault(n, "rule-too-long", fmt.Sprintf("the rule has more than %d parts", maxNodes), "make two gates of it")
		}
		return typed{}
	}
	switch n := n.(type) {
	case *ast.IntegerNode:
		return c.literal(n, float64(n.Value), strconv.Itoa(n.Value)+".0")
	case *ast.FloatNode:
		return c.literal(n, n.Value, strconv.FormatFloat(n.Value, 'e', -1, 64))
	case *ast.BoolNode:
		return typed{is: flag, code: strconv.FormatBool(n.Value)}
	case *ast.StringNode:
		return typed{is: text, code: strconv.QuoteToASCII(n.Value)}
	case *ast.IdentifierNode, *ast.MemberNode:
		return c.name(n)
	case *ast.UnaryNode:
		return c.unary(n)
	case *ast.BinaryNode:
		return c.binary(n)
	case *ast.BuiltinNode:
		return c.builtin(n)
	case *ast.PointerNode:
		if c.inside != nil && n.Name == "" {
			return *c.inside
		}
	}
	return c.fault(n, "rule-not-allowed", "a rule may not hold "+called(n),
		"a rule has names, numbers, texts, + - * /, comparisons, and, or, not, all, any, none, count, len, min, max, abs, round")
}

// called names a sort of node for people.
func called(n ast.Node) string {
	switch n := n.(type) {
	case *ast.NilNode:
		return "nil"
	case *ast.ConditionalNode:
		return "if or ?:"
	case *ast.VariableDeclaratorNode:
		return "let"
	case *ast.SequenceNode:
		return "several sentences"
	case *ast.ArrayNode:
		return "a list written out"
	case *ast.MapNode:
		return "a table written out"
	case *ast.CallNode:
		if id, ok := n.Callee.(*ast.IdentifierNode); ok {
			return id.Value + "(...)"
		}
		return "a call"
	case *ast.SliceNode:
		return "a piece of a list"
	case *ast.PointerNode:
		return "# outside all, any, none and count"
	case *ast.ChainNode:
		return "?."
	}
	return "this"
}

func (c *checker) literal(n ast.Node, value float64, code string) typed {
	if value > 1e300 {
		return c.fault(n, "rule", "the number is out of any range", "")
	}
	return typed{is: number, bare: true, zero: value == 0, unit: value, code: code}
}

// name resolves a dotted name.
func (c *checker) name(n ast.Node) typed {
	path, ok := dotted(n)
	if !ok {
		return c.fault(n, "rule-not-allowed", "a rule may not pick items of a list", "use all, any, none, count, min or max")
	}
	known, ok := c.scope.find(path)
	if !ok {
		return c.unknown(n, path)
	}
	is := sortOf(known.Type)
	if is == wrong {
		return c.fault(n, "rule-not-allowed", fmt.Sprintf("%s is %s, which a rule cannot judge", known.Name, diag.A(string(known.Type))), "")
	}
	if _, ok := c.slots[path]; !ok {
		c.slots[path] = len(c.slots)
	}
	t := typed{is: is, dim: dimensionOf(known), code: slotName(c.slots[path])}
	if known.Many {
		t.is, t.of = list, is
	}
	return t
}

// dotted returns the name that a chain of members spells.
func dotted(n ast.Node) (string, bool) {
	switch n := n.(type) {
	case *ast.IdentifierNode:
		return n.Value, true
	case *ast.MemberNode:
		word, ok := n.Property.(*ast.StringNode)
		if !ok || n.Optional {
			return "", false
		}
		head, ok := dotted(n.Node)
		return head + "." + word.Value, ok
	}
	return "", false
}

func (c *checker) unknown(n ast.Node, path string) typed {
	known := c.scope.all()
	var within []string
	for _, name := range known {
		if strings.HasPrefix(underscored(name), path+".") {
			within = append(within, name)
		}
	}
	spelt := strings.ReplaceAll(path, "_", "-")
	if len(within) > 0 {
		return c.fault(n, "unknown-name", spelt+" is a group of names, not a name", "it has "+several(within))
	}
	hint := diag.DidYouMean(spelt, known)
	if hint == "" && strings.Contains(spelt, "-") && c.knows(strings.Split(path, "_")[0]) {
		hint = "put blanks round the minus if you mean a difference"
	}
	if hint == "" && !strings.Contains(spelt, ".") || hint == "" && !c.head(path) {
		hint = "the rule may speak of " + several(known)
	}
	return c.fault(n, "unknown-name", fmt.Sprintf("nothing is called %s", spelt), hint)
}

// head reports whether some name begins with the path's first word.
func (c *checker) head(path string) bool {
	first, _, _ := strings.Cut(path, ".")
	return slices.ContainsFunc(c.scope.all(), func(name string) bool { return strings.HasPrefix(underscored(name), first+".") })
}

func (c *checker) knows(name string) bool {
	_, ok := c.scope.find(name)
	return ok
}

// several lists names, the first dozen of them.
func several(names []string) string {
	if len(names) > 12 {
		return strings.Join(names[:12], ", ") + fmt.Sprintf(" and %d more", len(names)-12)
	}
	if len(names) == 0 {
		return "nothing: the step has no measures"
	}
	return strings.Join(names, ", ")
}

func (c *checker) unary(n *ast.UnaryNode) typed {
	t := c.check(n.Node)
	switch {
	case t.is == wrong:
		return t
	case n.Operator == "not" || n.Operator == "!":
		if t.is != flag {
			return c.fault(n.Node, "rule-type", "not stands before a yes or no; this is "+t.String(), "")
		}
		return typed{is: flag, code: "not (" + t.code + ")"}
	case n.Operator == "-" || n.Operator == "+":
		if t.is != number {
			return c.fault(n.Node, "rule-type", n.Operator+" stands before a number; this is "+t.String(), "")
		}
		t.unit = -t.unit
		t.code = n.Operator + "(" + t.code + ")"
		return t
	}
	return c.fault(n, "rule-not-allowed", "a rule may not hold "+n.Operator, "")
}

func (c *checker) binary(n *ast.BinaryNode) typed {
	left, right := c.check(n.Left), c.check(n.Right)
	switch n.Operator {
	case "and", "&&", "or", "||":
		return c.join(n, left, right)
	case "==", "!=", "<", "<=", ">", ">=":
		return c.compare(n, left, right)
	case "+", "-", "*", "/":
		return c.reckon(n, left, right)
	}
	return c.fault(n, "rule-not-allowed", fmt.Sprintf("a rule may not hold %q", n.Operator), "")
}

func (c *checker) join(n *ast.BinaryNode, left, right typed) typed {
	for _, side := range []struct {
		node ast.Node
		is   typed
	}{{n.Left, left}, {n.Right, right}} {
		if side.is.is != flag && side.is.is != wrong {
			c.fault(side.node, "rule-type", fmt.Sprintf("each side of %q must be a yes or no; this is %s", n.Operator, side.is), "")
		}
	}
	return typed{is: flag, code: "(" + left.code + ") " + n.Operator + " (" + right.code + ")"}
}

func (c *checker) compare(n *ast.BinaryNode, left, right typed) typed {
	t := typed{is: flag, code: "(" + left.code + ") " + n.Operator + " (" + right.code + ")"}
	order := n.Operator != "==" && n.Operator != "!="
	switch {
	case left.is == wrong || right.is == wrong:
	case left.is != right.is || left.is == list:
		c.fault(n, "rule-type", fmt.Sprintf("%s is compared with %s", left, right), "")
	case left.is == number:
		c.alike(n, left, right, "is compared with")
		if strings.HasPrefix(n.Operator, ">") {
			t.more, t.less = left.code, right.code
		} else if order {
			t.more, t.less = right.code, left.code
		}
		t.dim = left.dim
		if left.bare {
			t.dim = right.dim
		}
	case order:
		c.fault(n, "rule-type", fmt.Sprintf("%s has no order", left), `compare it with "==" or "!="`)
	}
	return t
}

// alike refuses to put unlike numbers together. A bare nought is like all.
func (c *checker) alike(n ast.Node, left, right typed, verb string) bool {
	if left.dim == right.dim || left.bare && left.zero || right.bare && right.zero {
		return true
	}
	hint := ""
	if left.bare || right.bare {
		hint = `write the limit in [tolerances] with its unit, such as gap = "1.2 mm", and name it here: tolerances.gap`
	}
	c.fault(n, "rule-units", fmt.Sprintf("%s %s %s", left, verb, right), hint)
	return false
}

// reckon checks + - * /. Each is done by a function of ours that refuses a
// result that is no finite number.
func (c *checker) reckon(n *ast.BinaryNode, left, right typed) typed {
	if left.is == wrong || right.is == wrong {
		return typed{}
	}
	if left.is != number || right.is != number {
		return c.fault(n, "rule-type", fmt.Sprintf("%q works on numbers; here are %s and %s", n.Operator, left, right), "")
	}
	t := typed{is: number, bare: left.bare && right.bare}
	name := map[string]string{"+": "plus", "-": "minus", "*": "times", "/": "over"}[n.Operator]
	t.code = name + "(" + left.code + ", " + right.code + ")"
	switch n.Operator {
	case "*":
		t.dim = left.dim.times(right.dim, 1)
	case "/":
		t.dim = left.dim.times(right.dim, -1)
	default:
		whole := left.bare && left.unit == 1 && right.dim.share || right.bare && right.unit == 1 && left.dim.share
		if !whole && !c.alike(n, left, right, map[string]string{"+": "is added to", "-": "is set against"}[n.Operator]) {
			return typed{}
		}
		if t.dim = left.dim; left.bare {
			t.dim = right.dim
		}
	}
	return t
}

func (c *checker) builtin(n *ast.BuiltinNode) typed {
	switch n.Name {
	case "all", "any", "none", "count":
		return c.predicate(n)
	case "len":
		if t := c.argument(n, 0); t.is == list {
			return typed{is: number, code: "len(" + t.code + ")"}
		} else if t.is != wrong {
			c.fault(n, "rule-type", "len counts the items of a list; this is "+t.String(), "")
		}
		return typed{}
	case "min", "max":
		return c.extreme(n)
	case "abs", "round":
		t := c.argument(n, 0)
		if t.is != number && t.is != wrong {
			return c.fault(n, "rule-type", n.Name+" works on a number; this is "+t.String(), "")
		}
		t.code = n.Name + "(" + t.code + ")"
		t.bare = false
		return t
	}
	return c.fault(n, "rule-not-allowed", "a rule may not hold "+n.Name+"(...)", "it may hold all, any, none, count, len, min, max, abs, round")
}

func (c *checker) argument(n *ast.BuiltinNode, i int) typed {
	if len(n.Arguments) <= i {
		return c.fault(n, "rule", n.Name+" lacks what it works on", "")
	}
	return c.check(n.Arguments[i])
}

// extreme is the least or greatest of a list or of several numbers.
func (c *checker) extreme(n *ast.BuiltinNode) typed {
	first := c.argument(n, 0)
	if first.is == list && first.of == number && len(n.Arguments) == 1 {
		return typed{is: number, dim: first.dim, code: n.Name + "(" + first.code + ")"}
	}
	codes := []string{first.code}
	for i := 1; i < len(n.Arguments); i++ {
		t := c.argument(n, i)
		if first.is == number && t.is == number {
			c.alike(n, first, t, "stands beside")
		}
		if first.bare {
			first.dim, first.bare = t.dim, t.bare
		}
		if t.is != number {
			first.is = t.is
		}
		codes = append(codes, t.code)
	}
	if first.is != number && first.is != wrong {
		return c.fault(n, "rule-type", n.Name+" works on numbers or on one list of numbers", "")
	}
	first.code = n.Name + "(" + strings.Join(codes, ", ") + ")"
	return first
}

// predicate is all, any, none or count of a list with a yes-or-no over its
// items, and never one within another: that could run for hours.
func (c *checker) predicate(n *ast.BuiltinNode) typed {
	if c.inside != nil {
		return c.fault(n, "rule-not-allowed", n.Name+" stands within another all, any, none or count", "make two gates of it")
	}
	over := c.argument(n, 0)
	if over.is != list {
		if over.is != wrong {
			c.fault(n, "rule-type", n.Name+" looks through a list; this is "+over.String(), "")
		}
		return typed{}
	}
	if len(n.Arguments) < 2 {
		return c.fault(n, "rule", n.Name+" lacks what it asks of each item", "write "+n.Name+"(NAME, # >= tolerances.gap)")
	}
	body, ok := n.Arguments[1].(*ast.PredicateNode)
	if !ok {
		return c.fault(n, "rule", n.Name+" lacks what it asks of each item", "")
	}
	c.inside = &typed{is: over.of, dim: over.dim, code: "#"}
	asked := c.check(body.Node)
	c.inside = nil
	if asked.is != flag && asked.is != wrong {
		c.fault(body.Node, "rule-type", "what "+n.Name+" asks of each item must be a yes or no; this is "+asked.String(), "")
	}
	t := typed{is: flag, code: n.Name + "(" + over.code + ", {" + asked.code + "})"}
	if n.Name == "count" {
		t.is = number
	}
	return t
}

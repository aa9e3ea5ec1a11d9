package gate

import (
	"maps"
	"slices"
	"strings"
)

// Scope is what rules may speak of. A scope may stand within another, as a
// step's measures do within a recipe's quantities.
type Scope struct {
	names map[string]Name // as joined leaves them in a rule
	outer *Scope
}

// NewScope returns a scope of these names within outer, which may be nil.
func NewScope(outer *Scope, names ...Name) *Scope {
	s := &Scope{make(map[string]Name, len(names)), outer}
	for _, n := range names {
		s.names[underscored(n.Name)] = n
	}
	return s
}

// underscored is a name as joined leaves it in a rule.
func underscored(name string) string { return strings.ReplaceAll(name, "-", "_") }

func (s *Scope) find(name string) (Name, bool) {
	for ; s != nil; s = s.outer {
		if n, ok := s.names[name]; ok {
			return n, true
		}
	}
	return Name{}, false
}

// all returns every name, the inner ones first, each scope in order.
func (s *Scope) all() []string {
	var list []string
	for ; s != nil; s = s.outer {
		for _, k := range slices.Sorted(maps.Keys(s.names)) {
			list = append(list, s.names[k].Name)
		}
	}
	return list
}

// Package graph orders names by what they need. It knows nothing of what the
// names stand for.
package graph

import (
	"slices"
	"strings"
)

// A Cycle is a path of names, each needing the next, that ends where it began.
type Cycle []string

// String prints the path: "a -> b -> a".
func (c Cycle) String() string { return strings.Join(c, " -> ") }

// Order returns the names in an order in which each comes after all that it
// needs; names that could stand in either order keep the order they came in.
// Needs outside names are left out of account. If there is no such order it
// returns nil and a cycle, the shortest through the first name that lies on one.
func Order(names []string, needs func(name string) []string) ([]string, Cycle) {
	const (
		fresh = iota
		open
		done
	)
	state := make(map[string]int, len(names))
	for _, n := range names {
		state[n] = fresh
	}
	order := make([]string, 0, len(names))
	var visit func(name string) bool
	visit = func(name string) bool {
		state[name] = open
		for _, need := range needs(name) {
			at, known := state[need]
			if known && (at == open || at == fresh && !visit(need)) {
				return false
			}
		}
		state[name] = done
		order = append(order, name)
		return true
	}
	for _, n := range names {
		if state[n] == fresh && !visit(n) {
			return nil, firstCycle(names, needs)
		}
	}
	return order, nil
}

// firstCycle returns the shortest cycle through the first name that lies on one.
func firstCycle(names []string, needs func(string) []string) Cycle {
	for _, n := range names {
		if c := shortestBack(n, names, needs); c != nil {
			return c
		}
	}
	return nil
}

// shortestBack searches breadth first from start for a way back to it.
func shortestBack(start string, names []string, needs func(string) []string) Cycle {
	came := map[string]string{}
	queue := []string{start}
	for len(queue) > 0 {
		at := queue[0]
		queue = queue[1:]
		for _, need := range needs(at) {
			if need == start {
				return back(start, at, came)
			}
			if _, seen := came[need]; !seen && slices.Contains(names, need) {
				came[need] = at
				queue = append(queue, need)
			}
		}
	}
	return nil
}

// back follows the way that was come from start to at, and closes it.
func back(start, at string, came map[string]string) Cycle {
	c := Cycle{start}
	for ; at != start; at = came[at] {
		c = append(c, at)
	}
	c = append(c, start)
	slices.Reverse(c)
	return c
}

// Longest returns for each name the cost of the dearest path that begins with
// it and goes on through what needs it. order is an answer of Order.
func Longest(order []string, needs func(name string) []string, cost func(name string) float64) map[string]float64 {
	ahead := make(map[string]float64, len(order))
	for _, n := range slices.Backward(order) {
		ahead[n] += cost(n)
		for _, need := range needs(n) {
			ahead[need] = max(ahead[need], ahead[n])
		}
	}
	return ahead
}

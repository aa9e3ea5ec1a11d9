package graph

import (
	"maps"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// read turns "d: b c; b: a; a:" into names in order and what each needs.
func read(text string) ([]string, map[string][]string) {
	var names []string
	needs := map[string][]string{}
	for line := range strings.SplitSeq(text, ";") {
		name, rest, _ := strings.Cut(strings.TrimSpace(line), ":")
		names = append(names, name)
		needs[name] = strings.Fields(rest)
	}
	return names, needs
}

func TestOrder(t *testing.T) {
	tests := []struct{ name, graph, want, cycle string }{
		{"alone", "a:", "a", ""},
		{"diamond", "d: b c; b: a; c: a; a:", "a b c d", ""},
		{"keeps the order given", "z:; y:; x:", "z y x", ""},
		{"a need that is no name", "a: elsewhere", "a", ""},
		{"needs itself", "a: a", "", "a -> a"},
		{"the shortest way round", "a: b; b: c d; c: d; d: a", "", "a -> b -> d -> a"},
		{"behind a tail", "a: b; b: c; c: b", "", "b -> c -> b"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			names, needs := read(tt.graph)
			order, cycle := Order(names, func(n string) []string { return needs[n] })
			if got := strings.Join(order, " "); got != tt.want || cycle.String() != tt.cycle {
				t.Errorf("order %q, cycle %q; want %q, %q", got, cycle, tt.want, tt.cycle)
			}
		})
	}
}

// TestOrderLaw: each name once and after its needs; or a cycle whose every
// link is a need.
func TestOrderLaw(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		names := strings.Split("abcdefgh", "")
		needs := map[string][]string{}
		for _, n := range names {
			needs[n] = rapid.SliceOfN(rapid.SampledFrom(names), 0, 2).Draw(t, n)
		}
		order, cycle := Order(names, func(n string) []string { return needs[n] })
		if (order == nil) == (cycle == nil) {
			t.Fatalf("order %v and cycle %v", order, cycle)
		}
		for i := range len(cycle) - 1 {
			if !slices.Contains(needs[cycle[i]], cycle[i+1]) {
				t.Fatalf("%v: %s does not need %s", cycle, cycle[i], cycle[i+1])
			}
		}
		for i, n := range order {
			for _, need := range needs[n] {
				if slices.Index(order, need) >= i {
					t.Fatalf("%s stands before %s, which it needs: %v", n, need, order)
				}
			}
		}
		if order != nil && !slices.Equal(slices.Sorted(slices.Values(order)), names) {
			t.Fatalf("not each name once: %v", order)
		}
	})
}

func TestLongest(t *testing.T) {
	names, needs := read("a:; b: a; c: b; d: a")
	cost := map[string]float64{"a": 1, "b": 2, "c": 4, "d": 16}
	got := Longest(names, func(n string) []string { return needs[n] }, func(n string) float64 { return cost[n] })
	want := map[string]float64{"a": 17, "b": 6, "c": 4, "d": 16}
	if !maps.Equal(got, want) {
		t.Errorf("got %v, want %v", got, want)
	}
}

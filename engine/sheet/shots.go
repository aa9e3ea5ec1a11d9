package sheet

import (
	"fmt"
	"slices"
	"strings"
)

// Table is what a stage wrote row by row, the most telling rows first.
type Table struct {
	Title string
	Head  []string
	Rows  [][]string
	More  int // rows that are in the file and not here
}

// A block is one stage, or one stage's instances for many shots: two hundred of
// them would hide all else.
type block struct {
	Name   string
	Shots  bool
	Stages []shownStage
}

// add puts a stage into the part: the shots of one stage into one block.
func (p *shownPart) add(s shownStage) {
	name, _, _ := strings.Cut(s.Name, " ")
	if n := len(p.Blocks); n > 0 && s.Shot != "" && p.Blocks[n-1].Shots && p.Blocks[n-1].Name == name {
		p.Blocks[n-1].Stages = append(p.Blocks[n-1].Stages, s)
		return
	}
	p.Blocks = append(p.Blocks, block{name, s.Shot != "", []shownStage{s}})
}

// ID is that of the block's first stage, marked as the block's.
func (b block) ID() string { return b.Stages[0].ID + "-and-others" }

// State is the gravest in the block.
func (b block) State() string {
	for _, state := range states {
		if slices.ContainsFunc(b.Stages, func(s shownStage) bool { return s.State == state }) {
			return state
		}
	}
	return ""
}

// stands says how many of a block are in which state.
func stands(b block) string {
	n := map[string]int{}
	for _, s := range b.Stages {
		n[s.State]++
	}
	var words []string
	for _, state := range states {
		if n[state] > 0 {
			words = append(words, fmt.Sprintf("%d %s", n[state], state))
		}
	}
	return strings.Join(words, ", ")
}

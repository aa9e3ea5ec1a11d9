package recipe

import (
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"unicode/utf8"

	"layette/engine/step"
	"layette/engine/unit"
)

// WriteHandbook prints what a step is and needs, for people: plain text of at
// most 80 columns.
func WriteHandbook(w io.Writer, h step.Handbook) error {
	p := &page{}
	p.para(0, fmt.Sprintf("%s (version %d)", h.Name, h.Version))
	p.para(0, h.Summary)
	switch {
	case h.Hand:
		p.para(0, "A person's work: the stage waits for the file and never writes it.")
	case h.Word:
		p.para(0, "A person's word: the stage is done when it is signed.")
	}
	p.entries("Inputs", len(h.Inputs), func(i int) (string, string, string) {
		in := h.Inputs[i]
		return in.Name, inputFacts(in), in.Doc
	})
	p.entries("Values", len(h.Values), func(i int) (string, string, string) {
		v := h.Values[i]
		return v.Name, valueFacts(v), strings.TrimSpace(v.Doc + origin(v))
	})
	p.entries("Measures", len(h.Measures), func(i int) (string, string, string) {
		m := h.Measures[i]
		return m.Name, measureFacts(m), m.Doc
	})
	p.entries("Outputs", len(h.Outputs), func(i int) (string, string, string) {
		o := h.Outputs[i]
		return o.Name, outputFacts(o), o.Doc
	})
	p.section("Method", strings.Split(h.Method, "\n\n")...)
	p.section("Sources", h.Sources...)
	p.section("Cautions", h.Cautions...)
	_, err := io.WriteString(w, p.b.String())
	return err
}

// origin says in brackets where a value's default comes from.
func origin(v step.Value) string {
	switch {
	case v.Origin == "":
		return ""
	case v.Default != "":
		return " (default: " + v.Origin + ")"
	}
	return " (" + v.Origin + ")"
}

func inputFacts(in step.Input) string {
	facts := []string{string(in.Kind), "one file"}
	if in.Many {
		facts[1] = "any number of files"
	}
	if measured(in.Kind) {
		facts = append(facts, "units needed for files")
	}
	if in.Optional {
		facts = append(facts, "may be left out")
	}
	return strings.Join(facts, ", ")
}

func valueFacts(v step.Value) string {
	facts := []string{string(v.Type)}
	if len(v.OneOf) > 0 {
		facts[0] = "one of " + strings.Join(v.OneOf, ", ")
	}
	if v.Min != "" {
		facts = append(facts, "at least "+v.Min)
	}
	if v.Max != "" {
		facts = append(facts, "at most "+v.Max)
	}
	switch {
	case v.Default != "":
		facts = append(facts, "default "+v.Default)
	case v.Optional:
		facts = append(facts, "may be left out")
	default:
		facts = append(facts, "must be given")
	}
	return strings.Join(facts, ", ")
}

func measureFacts(m step.Measure) string {
	kind := string(m.Type)
	if m.Many {
		kind = "list: " + kind
	}
	symbol := m.Unit
	if symbol == "" {
		symbol = unit.Symbol(m.Type)
	}
	if symbol != "" {
		kind += " in " + symbol
	}
	if m.Resolution > 0 {
		kind += ", rounded to " + unit.Digits(m.Resolution, 0)
	}
	return kind
}

func outputFacts(o step.Output) string {
	facts := string(o.Kind)
	if o.Many {
		facts += ", any number of files"
	}
	if measured(o.Kind) {
		units := o.Units
		if units == "" {
			units = "mm"
		}
		facts += ", in " + units
	}
	return facts
}

// A page is text being set in lines of at most 80 columns.
type page struct{ b strings.Builder }

const columns = 80

func (p *page) section(head string, paras ...string) {
	paras = slices.DeleteFunc(paras, func(s string) bool { return strings.TrimSpace(s) == "" })
	if len(paras) == 0 {
		return
	}
	p.b.WriteString("\n" + head + "\n")
	for _, s := range paras {
		p.para(2, s)
	}
}

func (p *page) entries(head string, n int, entry func(i int) (name, facts, doc string)) {
	if n == 0 {
		return
	}
	p.b.WriteString("\n" + head + "\n")
	for i := range n {
		name, facts, doc := entry(i)
		p.para(2, name+": "+facts)
		p.para(6, doc)
	}
}

// para sets a paragraph, its later lines hung by two columns.
func (p *page) para(indent int, text string) {
	line := strings.Repeat(" ", indent)
	empty := true
	for _, word := range strings.Fields(text) {
		if !empty && utf8.RuneCountInString(line)+1+utf8.RuneCountInString(word) > columns {
			p.b.WriteString(line + "\n")
			line, empty = strings.Repeat(" ", indent+2), true
		}
		if !empty {
			line += " "
		}
		line += word
		empty = false
	}
	if !empty {
		p.b.WriteString(line + "\n")
	}
}

// Faults returns what is wrong with the steps' own handbooks: names that
// recipes could not write, defaults that do not read. It is for tests of
// steps; a recipe's author can do nothing about it.
func Faults(kinds []step.Kind) error {
	var faults []error
	seen := map[string]bool{}
	for _, k := range kinds {
		h := k.Handbook()
		tell := func(format string, args ...any) {
			faults = append(faults, fmt.Errorf("step %s: %s", h.Name, fmt.Sprintf(format, args...)))
		}
		if seen[h.Name] || !goodName(h.Name) {
			tell("the name is taken or not well formed")
		}
		seen[h.Name] = true
		if h.Version < 1 || h.Summary == "" {
			tell("a version from 1 on and a summary are needed")
		}
		inputFaults(h, tell)
		valueFaults(h, tell)
		measureFaults(h, tell)
	}
	return errors.Join(faults...)
}

func inputFaults(h step.Handbook, tell func(string, ...any)) {
	names := map[string]bool{}
	for _, in := range h.Inputs {
		if !goodName(in.Name) || names[in.Name] || slices.Contains(reserved, in.Name) {
			tell("input %q: the name is taken or not well formed", in.Name)
		}
		names[in.Name] = true
	}
	given := map[string]bool{}
	for _, o := range h.Outputs {
		if !goodName(o.Name) || given[o.Name] || o.Name == step.AccountOutput {
			tell("output %q: the name is taken or not well formed", o.Name)
		}
		given[o.Name] = true
	}
}

func valueFaults(h step.Handbook, tell func(string, ...any)) {
	names := map[string]bool{}
	for _, v := range h.Values {
		if !goodName(v.Name) || names[v.Name] {
			tell("value %q: the name is taken or not well formed", v.Name)
		}
		names[v.Name] = true
		if v.Type == step.OneWord && len(v.OneOf) == 0 {
			tell("value %s: no words to choose from", v.Name)
			continue
		}
		for what, text := range map[string]string{"default": v.Default, "least": v.Min, "greatest": v.Max} {
			if text == "" {
				continue
			}
			if x, err := literal(v, text); err != nil {
				tell("value %s: %s %q: %v", v.Name, what, text, err)
			} else if says := outside(v, x); says != "" {
				tell("value %s: %s: %s", v.Name, what, says)
			}
		}
	}
}

func measureFaults(h step.Handbook, tell func(string, ...any)) {
	names := map[string]bool{}
	for _, m := range h.Measures {
		good := !names[m.Name]
		for word := range strings.SplitSeq(m.Name, ".") {
			good = good && goodName(word)
		}
		if head, _, _ := strings.Cut(m.Name, "."); !good || slices.Contains([]string{"materials", "tolerances", "parts", "part", "child", "model", "scan"}, head) {
			tell("measure %q: the name is taken or not well formed", m.Name)
		}
		names[m.Name] = true
	}
}

package main

import (
	"fmt"
	"slices"
	"strings"

	"layette/engine"
	"layette/engine/recipe"
	"layette/engine/sheet"
	"layette/engine/step"
)

// given says what the model sheet sets, and what the recipe has for it.
func given(r *recipe.Recipe, g *recipe.Given) sheet.Given {
	out := sheet.Given{Name: strings.Join(strings.Fields(g.Sets+" "+g.Part+" "+g.Scan), " "), Reason: g.Reason}
	if q := r.Quantity(g.Sets, g.Part, g.Scan); q != nil {
		out.Value = quantityText(q.Value, q.Type)
		if q.Was != nil {
			out.Was = quantityText(q.Was.Value, q.Was.Type)
		}
		return out
	}
	words := strings.Split(g.Sets, ".") // stages.NAME.values.KEY or stages.NAME.INPUT.file
	i := slices.IndexFunc(r.Stages, func(s *recipe.Stage) bool { return s.Name == words[1] })
	if i < 0 || len(words) != 4 {
		return out
	}
	if words[2] == "values" {
		out.Value, out.Was = givenValue(r, r.Stages[i], g, words[3])
	} else {
		out.Value, out.Was = givenFiles(r.Stages[i], g, words[2])
	}
	return out
}

// givenValue returns a stage's value as the model sheet sets it, and as the
// recipe has it.
func givenValue(r *recipe.Recipe, s *recipe.Stage, g *recipe.Given, name string) (here, was string) {
	for _, v := range s.Values {
		if v.Name != name {
			continue
		}
		here = overridden(v.Given, g, func(x any) string { return quantityText(x, v.Type) })
		plain := *v
		plain.Given = nil
		if x, _ := plain.At(r, g.Part, g.Scan); x != nil {
			was = quantityText(x, v.Type)
		} else if h := s.Kind.Handbook(); true {
			was = defaultOf(h, name)
		}
	}
	return here, was
}

func defaultOf(h step.Handbook, name string) string {
	for _, v := range h.Values {
		if v.Name == name && v.Default != "" {
			return v.Default
		}
	}
	return "nothing"
}

func givenFiles(s *recipe.Stage, g *recipe.Given, name string) (here, was string) {
	for _, in := range s.Inputs {
		if in.Name == name {
			globs := func(x any) string { return quantityText(x, step.Strings) }
			return overridden(in.Given, g, globs), globs(in.Files)
		}
	}
	return "", ""
}

func overridden(list []*recipe.Override, g *recipe.Given, text func(any) string) string {
	for _, o := range list {
		if o.Given == g {
			return text(o.Value)
		}
	}
	return ""
}

// quantityText writes a value of a recipe as a person would.
func quantityText(v any, typ step.ValueType) string {
	switch x := v.(type) {
	case float64:
		return engine.Quantity(x, typ, "")
	case []float64:
		var list []string
		for _, f := range x {
			list = append(list, engine.Quantity(f, step.Number, ""))
		}
		return strings.Join(list, ", ")
	case [3]float64:
		return quantityText(x[:], typ) + " mm"
	case []string:
		return strings.Join(x, ", ")
	case step.Table:
		return tableText(x)
	}
	return fmt.Sprint(v)
}

// tableText writes a table as its members, one after the other; a table in it
// stands in brackets.
func tableText(t step.Table) string {
	var list []string
	for i, name := range t.Names {
		text := quantityText(t.Values[i], t.Kinds[i])
		if _, inner := t.Values[i].(step.Table); inner {
			text = "(" + text + ")"
		}
		list = append(list, name+" "+text)
	}
	return strings.Join(list, "; ")
}

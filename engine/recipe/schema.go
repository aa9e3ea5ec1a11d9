package recipe

import (
	"encoding/json"
	"slices"
	"strings"

	"layette/engine/step"
	"layette/engine/unit"
)

// A schema is a part of a JSON Schema document.
type schema map[string]any

const (
	dialect     = "https://json-schema.org/draft/2020-12/schema"
	namePattern = "^[a-z][a-z0-9-]{0,63}$"
)

// Schema returns the JSON Schema (draft 2020-12) of recipes over these steps,
// so that editors can complete and check. It knows the form of a recipe; names,
// dimensions, rules and cycles are for Read.
func Schema(kinds []step.Kind) []byte {
	return document(schema{
		"title": "recipe", "description": "A product line: parts, materials, tolerances, stages and gates.",
		"properties": schema{
			"format": schema{"const": 1}, "title": text("what the product line is called"),
			"extends": text("name of the recipe this one builds on"), "note": text("for readers"),
			"parts": named(object(schema{"mirror": text("the part on the other side"), "scans": text("glob of the part's scans"),
				"origin": text("where the quantities come from"), "note": text("")}, quantity())),
			"materials":  named(quantities()),
			"tolerances": quantities(),
			"roles":      named(object(schema{"doc": text("what the role judges")}, nil)),
			"stages":     named(stageSchema(kinds)),
			"photos":     named(photoSchema()),
		},
		"required": []string{"format", "title"},
	})
}

// SheetSchema returns the JSON Schema of model sheets.
func SheetSchema() []byte {
	return document(schema{
		"title": "model sheet", "description": "One child, one kit: which recipe, and what differs, each with its reason.",
		"properties": schema{
			"format": schema{"const": 1}, "recipe": text("name of the recipe"), "title": text("what the model is called"),
			"name": text("short name; the folder's unless given"), "note": text("for readers"),
			"child":   quantities(),
			"folders": named(object(schema{"path": text("a folder outside the model, such as a backup disk"), "note": text("")}, nil, "path")),
			"photos":  named(photoSchema()),
			"overrides": named(object(schema{
				"set":  text("what is set: tolerances.gap, stages.gaps.values.least, stages.hand.surface.file"),
				"part": text("only for this part"), "scan": text("only for this scan: its path below the model"),
				"value": schema{}, "reason": text("why this child differs; the sheet shows it"),
			}, nil, "set", "value", "reason")),
		},
		"required": []string{"recipe"},
	})
}

// photoSchema requires nothing, as a photograph may fill up one of a recipe
// that is extended.
func photoSchema() schema {
	return object(schema{
		"stage": text("whose surface is drawn beside it"), "part": text("only for this part"),
		"view": schema{"enum": Views, "description": "the side it was taken from"},
		"file": text("glob below the model's folder, with {part}"), "note": text("for readers"),
	}, nil)
}

func document(s schema) []byte {
	s["$schema"], s["type"], s["additionalProperties"] = dialect, "object", false
	data, err := json.MarshalIndent(s, "", "  ")
	if err != nil {
		panic(err) // only maps, lists and texts
	}
	return append(data, '\n')
}

func text(doc string) schema { return described(schema{"type": "string"}, doc) }

func described(s schema, doc string) schema {
	if doc != "" {
		s["description"] = doc
	}
	return s
}

// named is a table of things by name.
func named(each schema) schema {
	return schema{"type": "object", "patternProperties": schema{namePattern: each}, "additionalProperties": false}
}

// object is a table with known keys; other, if any, is what further keys hold.
func object(known schema, other schema, required ...string) schema {
	s := schema{"type": "object", "properties": known, "additionalProperties": false}
	if other != nil {
		s["additionalProperties"] = other
	}
	if len(required) > 0 {
		s["required"] = required
	}
	return s
}

func quantities() schema {
	return object(schema{"origin": text("where the quantities come from: published, factory, common practice"), "note": text("")}, quantity())
}

// quantity is any value with, perhaps, its origin.
func quantity() schema {
	return schema{"anyOf": []schema{
		{"type": []string{"string", "number", "boolean", "array"}},
		{"type": "object"},
	}, "examples": []string{"1.2 mm", "15 deg", "2 %"}}
}

// stageSchema is a stage: what all stages have, and by its step the inputs and
// values that the step declares. Nothing is required, as a stage may fill up
// one of a recipe that is extended.
func stageSchema(kinds []step.Kind) schema {
	var names []string
	var cases []schema
	books := map[string]step.Handbook{}
	for _, k := range kinds {
		h := k.Handbook()
		books[h.Name] = h
		names = append(names, h.Name)
	}
	slices.Sort(names)
	for _, name := range names {
		cases = append(cases, schema{
			"if":   schema{"properties": schema{"step": schema{"const": name}}, "required": []string{"step"}},
			"then": ofStep(books[name]),
		})
	}
	// A stage without a step fills up an extended one: its inputs are not known here.
	cases = append(cases, schema{"if": schema{"not": schema{"required": []string{"step"}}}, "then": schema{"additionalProperties": true}})
	return schema{
		"type": "object",
		"properties": schema{
			"step": schema{"enum": names}, "each": schema{"enum": []string{"part", "scan"}},
			"only": schema{"anyOf": []schema{{"type": "string"}, texts("")}, "description": "the parts it is for"}, "after": schema{"anyOf": []schema{{"type": "string"}, texts("")}, "description": "stages that must be done first"},
			"why":    text("what the stage is for"),
			"values": schema{"type": "object"},
			"gates":  named(object(schema{"rule": text("a yes or no over measures, materials and tolerances"), "why": text(""), "concede": text("the role that may let work go on although it does not hold; left out, the role that signs for the stage")}, nil)),
			"sign": object(schema{
				"role": text("whose word"), "people": schema{"type": "integer", "minimum": 1, "maximum": 100},
				"meaning": text("what is vouched for"), "questions": texts("each to be answered yes"),
				"not-maker": described(schema{"type": "boolean"}, "who made one of the files may not sign for it"),
				"sealed":    described(schema{"type": "boolean"}, "everybody who signed anything must have sealed the trail as well, and no hold or reject on any stage may be open"),
			}, nil),
		},
		"allOf": cases, "unevaluatedProperties": false,
	}
}

func texts(doc string) schema {
	return described(schema{"type": "array", "items": schema{"type": "string"}}, doc)
}

// ofStep is what a step declares.
func ofStep(h step.Handbook) schema {
	properties := schema{}
	for _, in := range h.Inputs {
		properties[in.Name] = inputSchema(in)
	}
	values := schema{}
	for _, v := range h.Values {
		values[v.Name] = valueSchema(v)
	}
	properties["values"] = object(values, nil)
	return schema{"description": h.Summary, "properties": properties}
}

func inputSchema(in step.Input) schema {
	known := schema{
		"from":   schema{"anyOf": []schema{{"type": "string"}, texts("")}, "description": "a stage, or stage.output"},
		"output": text("which of the stage's outputs"),
		"file":   schema{"anyOf": []schema{{"type": "string"}, texts("")}, "description": "globs below the model's folder, with {part} and {scan}"},
		"folder": text("a folder of the model sheet's [folders]"),
	}
	if measured(in.Kind) {
		known["units"] = schema{"enum": units, "description": "unit of the files' coordinates"}
	}
	return described(object(known, nil), in.Doc)
}

// refers is the form of a text that refers to a quantity.
func refers() schema { return schema{"type": "string", "pattern": reference.String()} }

func valueSchema(v step.Value) schema {
	s := schema{"anyOf": []schema{refers(), typeSchema(v)}}
	doc := v.Doc
	if v.Default != "" {
		doc = strings.TrimSpace(doc + " (default " + v.Default + ")")
	}
	return described(s, doc)
}

func typeSchema(v step.Value) schema {
	switch v.Type {
	case step.Number:
		return schema{"type": "number"}
	case step.Count:
		return schema{"type": "integer"}
	case step.Flag:
		return schema{"type": "boolean"}
	case step.OneWord:
		return schema{"enum": v.OneOf}
	case step.String:
		return schema{"type": "string"}
	case step.Strings:
		return texts("")
	case step.Point:
		return schema{"type": "array", "minItems": 3, "maxItems": 3}
	case step.Tree:
		return schema{"type": "object"}
	}
	var symbols []string
	for _, s := range unit.Symbols(v.Type) {
		symbols = append(symbols, strings.NewReplacer("/", `\/`).Replace(s))
	}
	return schema{"type": "string", "pattern": `^[-+]?[0-9.]+([eE][-+]?[0-9]+)? (` + strings.Join(symbols, "|") + ")$"}
}

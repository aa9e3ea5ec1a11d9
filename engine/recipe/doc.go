// Package recipe reads a product line's recipe and a model's sheet into a plan
// that can be run: spelling, units, names, cycles and rules are checked here,
// all problems are told at once with their places, and nothing is read but
// the two texts and the recipes they extend.
//
// # A recipe
//
// A recipe is a TOML text of named tables; names are small letters, digits and
// hyphens.
//
//	format  = 1
//	title   = "..."
//	extends = "NAME"            another recipe, joined member by member
//	[parts.NAME]                mirror, scans (a glob), any quantities
//	[materials.NAME]            any quantities; origin counts for them all
//	[tolerances]                any quantities, none negative
//	[roles.NAME]                doc
//	[stages.NAME]               step, each, only, after, why, values, gates, sign
//	[photos.NAME]               stage, part, view, file: shown on the sheet
//
// A quantity is "1.2 mm" (see package unit), a bare number, a flag, a text, a
// list of texts, a point in mm, or a table of such; { value = ..., origin =
// "..." } says where it comes from. A text that begins like a number must be a
// quantity.
//
// # A stage
//
// Any other key of a stage is an input that its step declares:
//
//	surface = { from = "stage" }                 or "stage.output", or a list
//	surface = { file = "sculpt/{part}.stl", units = "mm" }     or a list of globs
//	second  = { folder = "second", file = "scans/**" }         a folder of the sheet
//
// A value is written out or refers to a quantity: materials.NAME.KEY,
// tolerances.KEY, parts.NAME.KEY, child.KEY, model.title; and in a stage for
// each part or scan part.KEY, part.name, part.mirror, scan.name. A gate's rule
// (see package gate) speaks of the step's measures and of the same names.
//
// A stage with each = "part" is run for every part, or those that only names;
// each = "scan" for every scan of those. Between two that fan out alike, each
// takes its own; one that fans out less takes them all, in order of name. An
// input that the step may go without may be made for some of the parts only.
//
// # A model sheet
//
//	recipe = "NAME"
//	title  = "..."
//	name   = "..."              the folder's name unless given
//	[child]                     any quantities
//	[folders.NAME]              path, outside the model
//	[photos.NAME]               as in a recipe; replaces the recipe's of that name
//	[overrides.NAME]            set, value, reason; part or scan to narrow it
//
// A photograph is no input: the sheet shows it beside a render of the stage's
// surface from the same side.
//
// An override sets a quantity, stages.NAME.values.KEY or
// stages.NAME.INPUT.file, and must give its reason.
package recipe

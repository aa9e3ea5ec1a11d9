// Package factory is what every paper for a factory is told of a kit: the same
// values, called the same, for the bag and for the factory's sheet.
package factory

import "layette/engine/step"

// Values returns the values that say what is to be cast, and for whom. All are
// optional: what is not given is left out, or told as not stated.
func Values() []step.Value {
	return []step.Value{
		{Name: "title", Type: step.String, Optional: true, Doc: "what it is: the model's title"},
		{Name: "studio", Type: step.String, Optional: true, Doc: "who sends it"},
		{Name: "contact", Type: step.String, Optional: true, Doc: "whom to ask"},
		{Name: "material", Type: step.String, Optional: true, Doc: "what it is to be cast in"},
		{Name: "wall", Type: step.Length, Optional: true, Doc: "wanted wall"},
		{Name: "shrinkage", Type: step.Tree, Optional: true, Doc: "the shrinkage the masters already allow for, link by link"},
		{Name: "age-grade", Type: step.String, Optional: true, Doc: "for what age the toy is meant"},
		{Name: "notes", Type: step.Strings, Optional: true, Doc: "further sentences for the factory"},
	}
}

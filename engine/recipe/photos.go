package recipe

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"layette/engine/diag"
)

// Photo is a photograph that the inspection sheet shows beside a render of the
// same part from the same side. It takes no part in any stage: another
// photograph reruns nothing.
type Photo struct {
	Name  string
	Stage string // whose surface is drawn beside it
	Part  string // only for this part; empty for all that the stage is for
	View  string // one of Views
	File  string // glob below the model's folder, "{part}" to be filled in
	Pos   diag.Pos
}

// Views are the sides that a photograph may have been taken from, as the
// part stands: its face to the front, left and right its own.
var Views = []string{"front", "front-left", "front-right", "left", "right", "back", "back-left", "back-right", "above", "below"}

// photos reads the photographs of the recipe and of the model sheet, which
// replaces those of the recipe name by name.
func (r *reader) photos(root *node) {
	for _, from := range []*node{r.sheet, root} {
		if from == nil {
			continue
		}
		for _, n := range r.tables(from, "photos", "photograph") {
			if !slices.ContainsFunc(r.out.Photos, func(p *Photo) bool { return p.Name == n.key }) {
				r.photo(n)
			}
		}
	}
	slices.SortFunc(r.out.Photos, func(a, b *Photo) int { return cmp.Compare(a.Name, b.Name) })
}

func (r *reader) photo(n *node) {
	what := fmt.Sprintf("photograph %q", n.key)
	r.only(n, "a photograph", "stage", "part", "view", "file", "note")
	r.need(n, what, "stage", `write stage = "soundness": the stage whose surface is drawn beside it`)
	r.need(n, what, "view", `write view = "front": the side it was taken from`)
	r.need(n, what, "file", `write file = "photos/{part}-front.*"`)
	p := &Photo{Name: n.key, Stage: r.text(n, "stage"), Part: r.text(n, "part"), View: r.text(n, "view"), File: r.text(n, "file"), Pos: n.keyAt}
	r.text(n, "note")
	r.out.Photos = append(r.out.Photos, p)
	if p.File != "" {
		r.path(n.get("file"), p.File)
	}
	if p.View != "" && !slices.Contains(Views, p.View) {
		r.at(n.get("view"), "unknown-view", fmt.Sprintf("there is no view %q", p.View), cmpHint(diag.DidYouMean(p.View, Views), "a view is "+strings.Join(Views, ", ")))
	}
	if p.Part != "" && r.part(p.Part) == nil {
		r.unknownPart(n.get("part"), p.Part)
	}
	if p.Stage != "" {
		r.photoStage(n, p)
	}
}

func (r *reader) photoStage(n *node, p *Photo) {
	s := r.stage(p.Stage)
	if s == nil {
		var names []string
		for _, s := range r.stages {
			names = append(names, s.Name)
		}
		r.at(n.get("stage"), "unknown-stage", fmt.Sprintf("there is no stage %q", p.Stage), diag.DidYouMean(p.Stage, names))
		return
	}
	switch {
	case strings.Contains(p.File, "{scan}"):
		r.at(n.get("file"), "no-scan", "a photograph is of a part, not of a scan", "leave {scan} out")
	default:
		r.braces(s, n.get("file"), p.File)
	}
	switch {
	case p.Part != "" && s.Each == "":
		r.at(n.get("part"), "no-part", fmt.Sprintf("stage %q is not for each part", s.Name), "leave part out")
	case p.Part != "" && r.part(p.Part) != nil && !slices.Contains(s.Only, p.Part):
		r.at(n.get("part"), "no-part", fmt.Sprintf("stage %q is not for part %q", s.Name, p.Part), "it is for "+strings.Join(s.Only, ", "))
	}
}

// PhotosOf returns the photographs to show with a stage of one part, in order
// of name, their globs filled in.
func (r *Recipe) PhotosOf(stage, part string) []Photo {
	var list []Photo
	for _, p := range r.Photos {
		if p.Stage == stage && (p.Part == "" || p.Part == part) {
			own := *p
			own.File = fill(p.File, part, "")
			list = append(list, own)
		}
	}
	return list
}

package main

import (
	"fmt"
	"slices"

	"layette/engine"
	"layette/engine/step"
	"layette/engine/trail"
)

// A pin is a place that a person's word is pinned to, as the sheet shows it.
type pin struct {
	spot step.Spot
	file *engine.File
}

type pinList []pin

// pinRadius is how large a place is drawn that has no size of its own, mm.
const pinRadius = 2

// pinned returns the places that people pinned notes to on a stage: those of
// holds that stand, and those on files that are as they were. A hold's places
// are shown on the changed file too, for they are what the change must answer.
func pinned(st *engine.Status, t *trail.Trail) (list pinList) {
	number := len(st.Spots)
	for _, r := range t.Records() {
		if r.Stage != st.Node.String() || r.Kind != trail.Signoff || r.Void != "" {
			continue
		}
		open := st.Sign != nil && slices.ContainsFunc(st.Sign.Open, func(o trail.Record) bool { return o.ID == r.ID })
		for _, p := range r.Pins {
			f, same := pinnedTo(st, r, p)
			if f == nil || !same && !open {
				continue
			}
			number++
			list = append(list, pin{pinSpot(number, r, p, f, open, same), f})
		}
	}
	return list
}

// pinnedTo returns the file that a place is on, or what now stands where it
// stood; same says which.
func pinnedTo(st *engine.Status, r trail.Record, p trail.Pin) (file *engine.File, same bool) {
	if p.File < 1 || p.File > len(r.Files) {
		return nil, false
	}
	was := r.Files[p.File-1]
	for _, files := range [][]engine.File{st.Inputs, st.Files} {
		for i, f := range files {
			switch {
			case f.Kind != step.Surface && f.Kind != step.Scan:
			case f.SHA256 == was.SHA256:
				return &files[i], true
			case f.Path == was.Label && file == nil:
				file = &files[i]
			}
		}
	}
	return file, false
}

func pinSpot(number int, r trail.Record, p trail.Pin, f *engine.File, open, same bool) step.Spot {
	s := step.Spot{Number: number, What: "note", At: p.At, Radius: p.Radius, Surface: f.Role, Part: f.From.Part, Fault: open}
	if s.Radius <= 0 {
		s.Radius = pinRadius
	}
	word := string(r.Verdict)
	if !open && (r.Verdict == trail.Hold || r.Verdict == trail.Reject) {
		word += ", answered"
	}
	s.Says = fmt.Sprintf("%s (%s, %s, %s)", p.Words, r.ByPrinted, word, r.Time.UTC().Format(sheetClock))
	if !same {
		s.Says += "; said on an earlier version of the file"
	}
	return s
}

func (l pinList) spots() []step.Spot {
	var list []step.Spot
	for _, p := range l {
		list = append(list, p.spot)
	}
	return list
}

// shown is a surface that sheet and desk show, with what is marked on it.
type shown struct {
	file  *engine.File
	spots []step.Spot
	pins  bool // only notes are marked on it
}

// shownOf returns the surface of a stage's findings and each that a note is
// pinned to.
func shownOf(st *engine.Status, t *trail.Trail) []shown {
	var list []shown
	if f := surfaceOf(st); f != nil {
		list = append(list, shown{file: f, spots: slices.Clone(st.Spots)})
	}
	for _, p := range pinned(st, t) {
		i := slices.IndexFunc(list, func(s shown) bool { return s.file.SHA256 == p.file.SHA256 })
		if i < 0 {
			i, list = len(list), append(list, shown{file: p.file, pins: true})
		}
		list[i].spots = append(list[i].spots, p.spot)
	}
	return list
}

// title is what pictures and views of it are called.
func (s shown) title(st *engine.Status) string {
	title := st.Stage
	if st.Part != "" {
		title = st.Part + " · " + st.Stage
	}
	if s.pins {
		title += ", notes on " + s.file.Name
	}
	return title
}

// surfaceOf returns the surface on which a stage's findings are best seen: one
// it gives, such as a map of values, or else the one its spots lie on; nil if
// it found nothing to see.
func surfaceOf(st *engine.Status) *engine.File {
	for i, f := range st.Files {
		if f.Kind == step.Surface && (f.Role == "map" || len(st.Spots) > 0 && st.Spots[0].Surface == f.Role) {
			return &st.Files[i]
		}
	}
	for i, f := range st.Inputs {
		if f.Kind == step.Surface && len(st.Spots) > 0 && st.Spots[0].Surface == f.Role {
			return &st.Inputs[i]
		}
	}
	return joinedFrom(st)
}

// joinedFrom returns the surface of a stage that took scans and no surface: the
// first that there is of a part.
func joinedFrom(st *engine.Status) *engine.File {
	var scans bool
	for _, f := range st.Inputs {
		scans = scans || f.Kind == step.Scan
		if f.Kind == step.Surface {
			return nil
		}
	}
	for i, f := range st.Files {
		if scans && f.Kind == step.Surface {
			return &st.Files[i]
		}
	}
	return nil
}

// anySurface returns that surface, or else any surface or shot that a stage
// gave or took: a person may see what no step finds.
func anySurface(st *engine.Status) *engine.File {
	if f := surfaceOf(st); f != nil {
		return f
	}
	for _, files := range [][]engine.File{st.Files, st.Inputs} {
		for i, f := range files {
			if f.Kind == step.Surface || f.Kind == step.Scan {
				return &files[i]
			}
		}
	}
	return nil
}

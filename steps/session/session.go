// Package session is the step that looks at all shots of a session beside each
// other: the table, worst first; copies; shots that no part claims, or two.
package session

import (
	"cmp"
	"context"
	"encoding/csv"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"layette/engine/step"
	"layette/steps/internal/rows"
	"layette/steps/internal/workpiece"
)

// Kind is the step.
type Kind struct{}

// Handbook implements step.Kind.
func (Kind) Handbook() step.Handbook {
	count := func(name, doc string) step.Measure {
		return step.Measure{Name: name, Type: step.Count, Doc: doc}
	}
	return step.Handbook{
		Name:    "session",
		Version: 2,
		Summary: "One table of all shots, worst first, with copies and shots in no part or in two.",
		Method: "Gathers what intake found of every shot. Two shots are copies when their files are byte for byte equal, or hold equal points in " +
			"whatever order. A shot whose noise stands far above the median of its part's is called blurred, although it may be within the " +
			"limit. Files given as `all` that no part's intake took are in no part; files that the intake of two parts took are in two.\n\n" +
			"The table's first rows are the worst: dropped shots, copies, shots in no part or in two, then by noise over the part's median.",
		Sources: []string{"structured-light scans of infant heads: 71 of 76 usable, Transl Pediatr (Wu, Fan et al.; abstract): some 7 % rejects are usual"},
		Inputs: []step.Input{
			{Name: "rows", Kind: step.Rows, Many: true, Named: true, Doc: "what intake found of each shot"},
			{Name: "all", Kind: step.Any, Many: true, Named: true, Optional: true, Doc: "every file in the folder of scans"},
		},
		Values: []step.Value{
			{Name: "blur", Type: step.Number, Default: "2.5", Min: "1", Doc: "so many times the noise of its part's median calls a shot blurred", Origin: "common practice, no source"},
		},
		Measures: []step.Measure{
			count("shots", "shots that intake took"),
			count("kept", "shots handed on whole"),
			count("trimmed", "shots handed on trimmed"),
			count("dropped", "shots not handed on"),
			{Name: "dropped.share", Type: step.Share, Resolution: 1e-4, Doc: "share of the shots that were dropped"},
			count("overruled", "shots for which a person's word stands against what was found"),
			count("copies", "shots that are copies of another"),
			count("copies.used", "copies that were handed on although the other was too"),
			count("blurred", "shots handed on that are blurred against the others of their part"),
			count("in-no-part", "files that no part claims"),
			count("in-two-parts", "files that two parts claim"),
			{Name: "noise", Type: step.Length, Resolution: 0.0001, Doc: "median noise of the shots handed on"},
		},
		Outputs: []step.Output{{Name: "table", Kind: step.Rows, Doc: "one row for each shot, worst first (CSV)"}},
		Memory:  2,
	}
}

// entry is a shot of the table.
type entry struct {
	rows.Row
	part, scan string
	ratio      float64 // noise over the median of the part; 0 not known
	copyOf     string
	remarks    []string
	grave      int // how bad, apart from noise
}

// Run implements step.Kind.
func (Kind) Run(ctx context.Context, job *step.Job) (*step.Outcome, error) {
	s := &table{}
	for _, f := range job.Inputs["rows"] {
		if ctx.Err() != nil {
			return nil, context.Cause(ctx)
		}
		r, err := rows.Open(f)
		if err != nil {
			return nil, err
		}
		s.shots = append(s.shots, &entry{Row: r, part: f.Part, scan: cmp.Or(f.Scan, f.Name)})
	}
	s.judge(job)
	slices.SortStableFunc(s.shots, func(a, b *entry) int {
		return cmp.Or(cmp.Compare(b.grave, a.grave), cmp.Compare(b.ratio, a.ratio), cmp.Compare(a.scan, b.scan), cmp.Compare(a.part, b.part))
	})
	text, err := s.text()
	if err != nil {
		return nil, err
	}
	if err := workpiece.WriteText(job, "table", "session.csv", text); err != nil {
		return nil, err
	}
	return &step.Outcome{Measures: s.measures(), Notes: s.notes()}, nil
}

// table is all shots of a session.
type table struct {
	shots     []*entry
	copies    int
	used      int // copies that are used beside their originals
	blurred   int
	nowhere   []string // files in no part
	twice     []string // files in two
	overruled int
}

func (e *entry) used() bool { return e.Verdict != "drop" }

// judge compares the shots with each other.
func (s *table) judge(job *step.Job) {
	s.findCopies()
	s.compareNoise(job.Values.Float("blur"))
	s.findClaims(job.Inputs["all"])
	for _, e := range s.shots {
		if e.Verdict != e.Found {
			s.overruled++
			e.remark(1, "a person's word: "+e.Verdict+"; found was "+e.Found)
		}
		if e.Verdict == "drop" {
			e.grave += 8
		}
	}
}

func (e *entry) remark(grave int, says string) {
	e.grave += grave
	e.remarks = append(e.remarks, says)
}

// findCopies calls every shot after the first with equal bytes or equal points
// a copy.
func (s *table) findCopies() {
	bytes, points := map[string]*entry{}, map[string]*entry{}
	for _, e := range s.shots {
		skin := e.Sum != "" && e.Area > 0 // all files of one single point are alike, and no copies
		first, how := bytes[e.SHA256], "the same file as "
		if first == nil && skin {
			first, how = points[e.Sum], "the same points as "
		}
		switch {
		case first == nil:
			bytes[e.SHA256] = e
			if skin {
				points[e.Sum] = e
			}
		case first.scan != e.scan: // one file in two parts is no copy
			s.copies++
			e.copyOf = first.scan
			e.remark(4, how+first.scan)
			if e.used() && first.used() {
				s.used++
			}
		}
	}
}

// compareNoise calls shots blurred whose noise stands out of their part's.
func (s *table) compareNoise(limit float64) {
	of := map[string][]float64{}
	for _, e := range s.shots {
		if e.Noise > 0 {
			of[e.part] = append(of[e.part], e.Noise)
		}
	}
	for _, e := range s.shots {
		all := of[e.part]
		if e.Noise <= 0 || len(all) < 3 {
			continue
		}
		e.ratio = e.Noise / middle(all)
		if e.ratio > limit {
			if e.used() {
				s.blurred++
			}
			e.remark(2, fmt.Sprintf("blurred: %.1f times the noise of its part's shots", e.ratio))
		}
	}
}

func middle(all []float64) float64 {
	if len(all) == 0 {
		return math.NaN()
	}
	all = slices.Clone(all)
	slices.Sort(all)
	return all[len(all)/2]
}

// findClaims finds shots in two parts, and files in none.
func (s *table) findClaims(all []step.File) {
	parts := map[string][]string{}
	for _, e := range s.shots {
		if !slices.Contains(parts[e.scan], e.part) {
			parts[e.scan] = append(parts[e.scan], e.part)
		}
	}
	for _, e := range s.shots {
		if claims := parts[e.scan]; len(claims) > 1 {
			e.remark(4, "in two parts: "+strings.Join(claims, ", "))
			if !slices.Contains(s.twice, e.scan) {
				s.twice = append(s.twice, e.scan)
			}
		}
	}
	for _, f := range all {
		if parts[f.Name] == nil {
			s.nowhere = append(s.nowhere, f.Name)
			e := &entry{scan: f.Name}
			e.SHA256 = f.SHA256
			e.remark(16, "in no part: no glob of the recipe takes it")
			s.shots = append(s.shots, e)
		}
	}
}

// text writes the table.
func (s *table) text() (string, error) {
	var b strings.Builder
	w := csv.NewWriter(&b)
	w.Write([]string{"scan", "part", "verdict", "reason", "points", "handed on", "spacing mm", "noise mm", "over median", "turn deg/mm", "skin mm2", "remarks"})
	for _, e := range s.shots {
		if e.Verdict == "" {
			w.Write([]string{e.scan, "", "", "", "", "", "", "", "", "", "", strings.Join(e.remarks, "; ")})
			continue
		}
		w.Write([]string{
			e.scan, e.part, e.Verdict, e.Reason, strconv.Itoa(e.Points), fmt.Sprintf("%.1f %%", 100*e.Kept), number(e.Spacing, 3), number(e.Noise, 4),
			number(e.ratio, 2), number(e.Turn, 2), number(e.Area, 0), strings.Join(e.remarks, "; "),
		})
	}
	w.Flush()
	return b.String(), w.Error()
}

// number leaves the unknown out.
func number(x float64, places int) string {
	if x == 0 {
		return ""
	}
	return strconv.FormatFloat(x, 'f', places, 64)
}

func (s *table) measures() map[string]any {
	count := map[string]int64{}
	var noise []float64
	shots := int64(0)
	for _, e := range s.shots {
		if e.Verdict == "" {
			continue
		}
		shots++
		count[e.Verdict]++
		if e.used() && e.Noise > 0 {
			noise = append(noise, e.Noise)
		}
	}
	return map[string]any{
		"shots": shots, "kept": count["keep"], "trimmed": count["trim"], "dropped": count["drop"],
		"dropped.share": float64(count["drop"]) / float64(shots), "overruled": int64(s.overruled),
		"copies": int64(s.copies), "copies.used": int64(s.used), "blurred": int64(s.blurred),
		"in-no-part": int64(len(s.nowhere)), "in-two-parts": int64(len(s.twice)), "noise": middle(noise),
	}
}

// notes names what a person must look at.
func (s *table) notes() []string {
	var notes []string
	say := func(names []string, what string) {
		if len(names) > 0 {
			notes = append(notes, fmt.Sprintf("%s %s", few(names), what))
		}
	}
	say(s.nowhere, "in no part: file it under one, or take it out of the folder")
	say(s.twice, "in two parts: a shot belongs to one")
	var copies, blurred []string
	for _, e := range s.shots {
		if e.copyOf != "" {
			copies = append(copies, fmt.Sprintf("%s (of %s)", e.scan, e.copyOf))
		}
		if e.used() && slices.ContainsFunc(e.remarks, func(r string) bool { return strings.HasPrefix(r, "blurred") }) {
			blurred = append(blurred, e.scan)
		}
	}
	say(copies, "filed twice")
	say(blurred, "blurred against the others of the part")
	return append(notes, s.dropped()...)
}

// mostDropped is how many dropped shots are named with their reasons.
const mostDropped = 12

// dropped says of each dropped shot why, one sentence each.
func (s *table) dropped() []string {
	var notes []string
	for _, e := range s.shots {
		switch {
		case e.Verdict != "drop":
		case e.Found != "drop":
			notes = append(notes, fmt.Sprintf("%s is dropped at a person's word", e.scan))
		default:
			notes = append(notes, fmt.Sprintf("%s is dropped: %s", e.scan, e.Reason))
		}
	}
	if more := len(notes) - mostDropped; more > 0 {
		notes = append(notes[:mostDropped], fmt.Sprintf("%d more are dropped: the table says why", more))
	}
	return notes
}

// few lists at most six names.
func few(names []string) string {
	if n := len(names); n > 6 {
		return fmt.Sprintf("%s and %d more:", strings.Join(names[:6], "; "), n-6)
	}
	return strings.Join(names, "; ") + ":"
}

package calibrate

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"layette/steps/internal/draw"
	"layette/steps/internal/form"
)

func (r *result) measures() map[string]any {
	bend, left, covered, mute := 0.0, 0.0, 1.0, int64(0)
	for _, s := range r.samples {
		if !s.tells() {
			mute++
		}
		bend, left, covered = max(bend, s.bend), max(left, s.sigma), min(covered, s.covered)
	}
	hours := math.NaN()
	if r.values.Has("hours") {
		hours = r.values.Float("hours") / 3600
	}
	m := map[string]any{
		"samples": int64(len(r.samples)), "samples.mute": mute, "shrinks": r.mean.at, "shrinks.from": r.mean.from, "shrinks.to": r.mean.to,
		"uneven": r.uneven(), "detail": r.detail.at, "detail.from": r.detail.from, "detail.to": r.detail.to,
		"bend": bend, "left": left, "covered.least": covered, "hours": hours, "contradicts": len(r.contradict) > 0,
	}
	m["shrinks.axes"], m["shrinks.axes.from"], m["shrinks.axes.to"] = columns(r.shrink[:])
	m["kept"], m["kept.from"], m["kept.to"] = columns(r.share[:])
	var waves []float64
	for k := range bands {
		waves = append(waves, cutoffAt(firstBand+k))
	}
	m["wavelengths"] = waves
	return m
}

func columns(all []band) (at, from, to []float64) {
	for _, b := range all {
		at, from, to = append(at, b.at), append(from, b.from), append(to, b.to)
	}
	return at, from, to
}

// notes says what people should know, contradictions first.
func (r *result) notes() []string {
	var notes []string
	for _, c := range r.contradict {
		notes = append(notes, "Contradiction: "+c+".")
	}
	if len(r.samples) == 1 {
		notes = append(notes, "One sample tells nothing of how samples differ; scan three.")
	}
	if !r.values.Has("hours") {
		notes = append(notes, "The hours since demoulding are not recorded: vinyl goes on shrinking for a day or two.")
	}
	if r.values.Float("temperature") != 20 && r.values.Float("expansion") == 0 {
		notes = append(notes, "The samples were not at 20 °C (ISO 1) and no expansion is given, so no correction was made.")
	}
	for _, s := range r.samples {
		if !s.tells() {
			notes = append(notes, fmt.Sprintf("%s cannot tell: the fit leaves %.3f mm, of which noise explains %.3f mm, and bends by %.3f mm. It was left out. Is it of this master, whole enough and scanned finely enough?", s.name, s.sigma, s.noise, s.bend))
		}
		if s.free {
			notes = append(notes, s.name+" loses relief by no Gaussian curve: its shares are told wavelength by wavelength, in the table too, and its detail only says where half is left.")
		}
		if s.covered < 0.5 {
			notes = append(notes, fmt.Sprintf("%s shows only %.0f %% of the master's skin.", s.name, 100*s.covered))
		}
	}
	return notes
}

// toml returns the table to paste.
func (r *result) toml() string {
	var b strings.Builder
	if !r.mean.known() {
		return "# The samples cannot tell the shrinkage: there is nothing to paste. See the notes of the stage.\n"
	}
	used := 0
	for _, s := range r.samples {
		if s.tells() {
			used++
		}
	}
	origin := fmt.Sprintf("measured: calibrate, %s, %s", r.values.Text("date"), samples(used))
	if r.values.Has("hours") {
		origin += fmt.Sprintf(", %.4g h after demoulding", r.values.Float("hours")/3600)
	}
	fmt.Fprintf(&b, "# Shrinkage is a share of the master; bounds are meant to hold the truth with 95 %%\n# and were tried on simulated samples only.\n# Samples: ")
	for i, s := range r.samples {
		if i > 0 {
			b.WriteString(", ")
		}
		b.WriteString(strings.Map(printable, s.name))
		if !s.tells() {
			b.WriteString(" (left out)")
		}
	}
	if r.uneven() {
		b.WriteString("\n# It shrinks unevenly: the axes are those of this master. Another part may lie\n# otherwise in its mould.")
	}
	fmt.Fprintf(&b, "\n[materials.%s]\norigin  = %q\nprocess = { %s = { ", r.values.Text("material"), strings.Map(printable, origin), r.values.Text("link"))
	if r.uneven() {
		for k, axis := range [3]string{"x", "y", "z"} {
			s := r.shrink[k]
			fmt.Fprintf(&b, "%s = \"%.3f %%\", %s-from = \"%.3f %%\", %s-to = \"%.3f %%\", ", axis, 100*s.at, axis, 100*s.from, axis, 100*s.to)
		}
		b.WriteString("frame = { x = [1, 0, 0], y = [0, 1, 0] }")
	} else {
		fmt.Fprintf(&b, "shrinks = \"%.3f %%\", shrinks-from = \"%.3f %%\", shrinks-to = \"%.3f %%\"", 100*r.mean.at, 100*r.mean.from, 100*r.mean.to)
	}
	fmt.Fprintf(&b, ", %s, detail-from = \"%.3f mm\", detail-to = \"%.3f mm\", origin = %q } }\n", r.softens(), max(0, r.detail.from), max(0, r.detail.to), strings.Map(printable, origin))
	return b.String()
}

// softens writes the transfer as a link has it: the detail, or wavelength by
// wavelength on the sample where a sample loses relief by no Gaussian curve.
func (r *result) softens() string {
	if !slices.ContainsFunc(r.samples, func(s *found) bool { return s.tells() && s.free }) {
		return fmt.Sprintf("detail = \"%.3f mm\"", max(0, r.detail.at))
	}
	left, last := 1-r.mean.at, 0.0
	var kept []string
	for k, b := range r.share {
		wave := float64(cutoffAt(firstBand+k) * left)
		// What is longer than form.Long details goes back to the form by itself.
		long := form.Transmission(float64(form.Long*r.detail.at), wave)
		if long > 0.9 || !b.known() {
			continue
		}
		last = max(last, min(1, max(0, 1-(1-b.at)/(1-long))))
		kept = append(kept, fmt.Sprintf("\"%.1f %% at %.3f mm\"", 100*last, wave))
	}
	if len(kept) == 0 {
		return fmt.Sprintf("detail = \"%.3f mm\"", max(0, r.detail.at))
	}
	return "kept = [" + strings.Join(kept, ", ") + "]"
}

// samples counts samples in words.
func samples(n int) string {
	if n == 1 {
		return "1 sample"
	}
	return fmt.Sprintf("%d samples", n)
}

// printable keeps a name on one line.
func printable(c rune) rune {
	if c < ' ' || c == 0x7f {
		return ' '
	}
	return c
}

// rows writes every estimate as a row of a table.
func (r *result) rows() string {
	var b strings.Builder
	b.WriteString("sample,what,at,value,from,to\n")
	put := func(sample, what, at string, x band) {
		fmt.Fprintf(&b, "%q,%s,%q,%.5f,%.5f,%.5f\n", sample, what, at, x.at, x.from, x.to)
	}
	axes := [3]string{"x", "y", "z"}
	for _, s := range r.samples {
		for k, x := range s.shrink {
			put(s.name, "shrinks", axes[k], x)
		}
		put(s.name, "detail_mm", "", s.detail)
		for k, x := range s.share {
			put(s.name, "kept", fmt.Sprintf("%.2f mm", cutoffAt(firstBand+k)), x)
		}
		for _, g := range s.regions {
			put(s.name, "detail_mm", g.name, g.detail)
			for k, x := range g.share {
				put(s.name, "kept", fmt.Sprintf("%.2f mm, %s", cutoffAt(firstBand+k), g.name), x)
			}
		}
	}
	for k, x := range r.shrink {
		put("all", "shrinks", axes[k], x)
	}
	put("all", "detail_mm", "", r.detail)
	for k, x := range r.share {
		put("all", "kept", fmt.Sprintf("%.2f mm", cutoffAt(firstBand+k)), x)
	}
	return b.String()
}

// chart draws what survives by wavelength, with its bounds and the Gaussian
// curve of the detail.
func (r *result) chart() string {
	at, curve := draw.Curve{Name: "measured"}, draw.Curve{Name: "Gaussian", Dashed: true}
	from, to := draw.Curve{Name: "lower bound"}, draw.Curve{Name: "upper bound"}
	for k, x := range r.share {
		if !x.known() {
			continue
		}
		w := cutoffAt(firstBand + k)
		at.Points = append(at.Points, [2]float64{w, x.at})
		from.Points, to.Points = append(from.Points, [2]float64{w, x.from}), append(to.Points, [2]float64{w, x.to})
	}
	for w := 0.5; w <= 6.01; w += 0.25 {
		curve.Points = append(curve.Points, [2]float64{w, form.Passed(max(r.detail.at, 0.01)/(1-r.mean.at), w)})
	}
	return draw.Chart{Title: "what survives of relief", X: "wavelength, mm", Y: "share of the depth", Curves: []draw.Curve{at, from, to, curve}}.SVG()
}

package bag

import (
	"fmt"
	"strings"

	"layette/engine/step"
	"layette/steps/internal/process"
)

// note writes NOTE.txt: what the factory must know, in plain words.
func note(job *step.Job, accounts []step.Account) []byte {
	var b strings.Builder
	v := job.Values
	title := "Masters for moulds"
	if v.Has("title") {
		title = v.Text("title")
	}
	fmt.Fprintf(&b, "%s\n%s\n\n", title, strings.Repeat("=", len([]rune(title))))
	if v.Has("studio") {
		fmt.Fprintf(&b, "From: %s\n", v.Text("studio"))
	}
	if v.Has("contact") {
		fmt.Fprintf(&b, "Ask:  %s\n", v.Text("contact"))
	}
	b.WriteString("\nUnits and size\n--------------\n" +
		"All surfaces are in millimetres, at 20 degrees C (ISO 1). Right-handed axes.\n")
	shrinkage(&b, v)
	wanted(&b, v)
	packed(&b, job)
	gates(&b, accounts)
	signatures(&b, accounts)
	b.WriteString("\nCautions\n--------\n" +
		"Hot plastisol, ovens and moulds: work by your own licensed practice and local rules.\n" +
		"Small parts, phthalates, points and edges: an accredited laboratory must say what the law\n" +
		"where the toy is sold asks; nothing in this bag does.\n")
	if v.Has("notes") {
		b.WriteString("\nFurther\n-------\n")
		for _, s := range v.Texts("notes") {
			fmt.Fprintf(&b, "- %s\n", s)
		}
	}
	b.WriteString("\nTo check that nothing is missing or changed: sha256sum -c manifest-sha256.txt\n")
	return []byte(b.String())
}

func shrinkage(b *strings.Builder, v step.Values) {
	if !v.Has("shrinkage") {
		b.WriteString("No shrinkage is stated: ask before you cut a mould.\n")
		return
	}
	b.WriteString("The masters are already larger than the finished part. Do not scale them again.\n" +
		"Allowed for, each as a share of the larger piece (mould = part / (1 - share)):\n")
	t := v.Table("shrinkage")
	left := 1.0
	for i, name := range t.Names {
		l, err := process.One(name, t.Values[i], nil)
		if err != nil || !l.Even() {
			fmt.Fprintf(b, "  %-16s by axis, see the account of the shrinkage stage\n", name)
			continue
		}
		left = float64(left * l.Factor[0])
		if l.Factor[0] > 1 {
			fmt.Fprintf(b, "  %-16s grows by %.3g %% of what it was made from\n", name, 100*(l.Factor[0]-1))
			continue
		}
		fmt.Fprintf(b, "  %-16s %.3g %%\n", name, 100*(1-l.Factor[0]))
	}
	fmt.Fprintf(b, "  %-16s %.4f %%, scale %.6f (where no link goes by axis and no part has links of its own)\n", "together", 100*(1-left), 1/left)
}

func wanted(b *strings.Builder, v step.Values) {
	if v.Has("material") {
		fmt.Fprintf(b, "Material: %s\n", v.Text("material"))
	}
	if v.Has("wall") {
		fmt.Fprintf(b, "Wall wanted: %.2f mm\n", v.Float("wall"))
	}
	if v.Has("age-grade") {
		fmt.Fprintf(b, "Meant for: %s\n", v.Text("age-grade"))
	}
}

func packed(b *strings.Builder, job *step.Job) {
	b.WriteString("\nWhat is in the bag\n------------------\n")
	for _, in := range []struct{ input, says string }{
		{"masters", "masters/"}, {"pieces", "pieces/"}, {"accounts", "accounts/"}, {"sheet", "papers/"}, {"factory-sheet", "papers/"}, {"trail", "papers/"}, {"other", "other/"},
	} {
		for _, f := range job.Inputs[in.input] {
			fmt.Fprintf(b, "  %s%s  %d bytes\n", in.says, label(in.input, f), f.Size)
		}
	}
}

// place names a stage and the part it was run for.
func place(a step.Account) string {
	if a.Part == "" {
		return a.Stage
	}
	return a.Stage + " " + a.Part
}

func gates(b *strings.Builder, accounts []step.Account) {
	b.WriteString("\nGates\n-----\n")
	n := 0
	for _, a := range accounts {
		for _, g := range a.Gates {
			n++
			fmt.Fprintf(b, "  %s, %s: %s\n    %s\n    seen: %s\n", place(a), g.Name, g.Verdict, g.Rule, strings.Join(g.Saw, "; "))
			if c := g.Concession; c != nil {
				fmt.Fprintf(b, "    CONCEDED by %s on %s: %s\n", c.Name, c.Time, c.Note)
			}
		}
	}
	if n == 0 {
		b.WriteString("  none stated\n")
	}
}

func signatures(b *strings.Builder, accounts []step.Account) {
	b.WriteString("\nSigned\n------\n")
	n := 0
	for _, a := range accounts {
		for _, w := range a.Words {
			n++
			fmt.Fprintf(b, "  %s: %s, %s, %s: %s\n", place(a), w.Name, w.Time, w.Verdict, w.Meaning)
		}
	}
	if n == 0 {
		b.WriteString("  nothing yet\n")
	}
}

// conceded lists the gates that were conceded.
func conceded(accounts []step.Account) []step.AccountGate {
	var list []step.AccountGate
	for _, a := range accounts {
		for _, g := range a.Gates {
			if g.Concession != nil {
				list = append(list, g)
			}
		}
	}
	return list
}

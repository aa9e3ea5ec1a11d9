package factorysheet

import (
	"fmt"
	"strings"

	"layette/engine/step"
	"layette/steps/internal/process"
)

// shrinkage tells the chain link by link, with the factor that each was made
// good by.
func (s *sheet) shrinkage() {
	s.headed("Shrinkage", "")
	if !s.values.Has("shrinkage") {
		s.add(block{Text: "No shrinkage is stated: ask before you cut a mould.", Strong: true})
		s.scales()
		return
	}
	s.add(block{Text: "The masters are already larger than the finished part. Do not scale them again.", Strong: true})
	s.add(block{Text: "Each share is of the larger piece, the mould (in the sense of ISO 294-4): mould = part / (1 - share). Links multiply."})
	t := table{Head: []string{"Link", "Share of the larger piece", "Factor", "So far"}, Shares: []float64{0.25, 0.35, 0.2, 0.2}}
	chain := s.values.Table("shrinkage")
	all, even := 1.0, true
	for i, name := range chain.Names {
		share, factor := link(name, chain.Values[i])
		if factor == 0 {
			even = false
			t.Rows = append(t.Rows, []string{name, share, "by axis", ""})
			continue
		}
		all = float64(all * factor)
		t.Rows = append(t.Rows, []string{name, share, fmt.Sprintf("%.6f", factor), fmt.Sprintf("%.6f", all)})
	}
	together := fmt.Sprintf("%.4f %%", 100*(1-1/all))
	if !even {
		together += ", and what goes by axis"
	}
	t.Rows = append(t.Rows, []string{"together", together, fmt.Sprintf("%.6f", all), ""})
	s.rows(t)
	s.scales()
	s.deepening()
}

// deepening tells for which parts lines were cut deeper, and by how much, so
// that nobody deepens them again.
func (s *sheet) deepening() {
	t := table{Head: []string{"Part", "cut in by at most", "raised by at most", "for half the depth lost at a wavelength of"}, Shares: []float64{0.25, 0.2, 0.2, 0.35}}
	for _, a := range s.accounts {
		if a.Step == "deepen" {
			t.Rows = append(t.Rows, append([]string{place(a)}, texts(a, "moved.in", "moved.out", "detail")...))
		}
	}
	if len(t.Rows) > 0 {
		s.add(block{Text: "Lines of these masters are already deepened for what moulding takes from them. Do not sharpen them again.", Strong: true})
		s.rows(t)
	}
}

// texts returns what an account says of the named measures, "" for one that it
// does not have.
func texts(a step.Account, names ...string) []string {
	out := make([]string, len(names))
	for i, name := range names {
		for _, m := range a.Measures {
			if m.Name == name {
				out[i] = m.Text
			}
		}
	}
	return out
}

// link returns a link's share in words and the factor that makes it good, 0 if
// that differs by axis. Links are written as the step shrinkage reads them.
func link(name string, value any) (share string, factor float64) {
	l, err := process.One(name, value, nil)
	if err != nil || !l.Even() {
		return axes(value), 0
	}
	factor = 1 / l.Factor[0]
	t, _ := value.(step.Table)
	if x, ok := number(t, "volume"); ok {
		return fmt.Sprintf("%.4g %% of the volume", 100*x), factor
	}
	if l.Factor[0] > 1 {
		return fmt.Sprintf("grows by %.4g %% of what it was made from", 100*(l.Factor[0]-1)), factor
	}
	return fmt.Sprintf("%.4g %%", 100*(1-l.Factor[0])), factor
}

// axes writes the shares of a link that differ by axis, in its own frame.
func axes(value any) string {
	t, _ := value.(step.Table)
	var says []string
	for _, axis := range []string{"x", "y", "z"} {
		if v, ok := number(t, axis); ok {
			says = append(says, fmt.Sprintf("%s %.4g %%", axis, 100*v))
		}
	}
	if len(says) == 0 {
		return "cannot be read: ask"
	}
	return strings.Join(says, ", ")
}

func number(t step.Table, name string) (float64, bool) {
	v, _ := t.Get(name)
	x, ok := v.(float64)
	return x, ok
}

// told are the measures of a shrinkage stage that the factory wants to see.
var told = []string{"scale.x", "scale.y", "scale.z", "loss.total"}

// scales tells what each master was really scaled by, as its stage says.
func (s *sheet) scales() {
	t := table{Head: []string{"Master of", "scale x", "scale y", "scale z", "loss in all"}, Shares: []float64{0.28, 0.18, 0.18, 0.18, 0.18}}
	for _, a := range s.accounts {
		if a.Step != "shrinkage" {
			continue
		}
		t.Rows = append(t.Rows, append([]string{place(a)}, texts(a, told...)...))
	}
	if len(t.Rows) > 0 {
		s.add(block{Text: "What was done to each master, with the links of the castings it was scanned from:"})
		s.rows(t)
	}
}

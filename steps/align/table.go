package align

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"layette/steps/internal/workpiece"
)

// tableHead names what the table says of each scan. The neighbour is the scan
// it lies over most; of an unplaced scan the one it fits best, as far as that
// was found, and that is no proof.
const tableHead = "scan,placed,group,best neighbour,overlap,residual mm,firm,neighbours,why not\n"

// lying is one scan beside its best neighbour.
type lying struct {
	name, placed, group, beside string
	overlap, rms, firm          float64 // -1 where it is not known
	touches                     int
	why                         string
}

// writeTable writes a line for each scan: unplaced ones first, then those that
// lie least over a neighbour.
func (r *result) writeTable() error {
	best, touches := r.bestBeside()
	var list []lying
	for _, i := range r.byName() {
		l := lying{name: r.s.scans[i].name, placed: "no", group: r.groupOf(i), overlap: -1, rms: -1, firm: -1, touches: touches[i], why: r.why[i]}
		if m := best[i]; m.other >= 0 {
			l.beside, l.overlap, l.rms = r.s.scans[m.other].name, m.overlap, m.rms
		}
		switch {
		case r.s.scans[i].fixed:
			l.placed = "casting"
		case r.s.isPinned(i) && r.g.in[i]:
			l.placed = "pinned"
		case r.g.in[i]:
			l.placed = "yes"
		}
		if p := r.places[i]; p != nil && r.g.in[i] && !r.s.scans[i].fixed {
			l.firm = p.firm
		}
		list = append(list, l)
	}
	slices.SortStableFunc(list, func(a, b lying) int {
		return cmp.Or(cmp.Compare(a.rank(), b.rank()), cmp.Compare(a.overlap, b.overlap))
	})
	var b strings.Builder
	b.WriteString(tableHead)
	for _, l := range list {
		fmt.Fprintf(&b, "%s,%s,%s,%s,%s,%s,%s,%d,%s\n", cell(l.name), l.placed, l.group, cell(l.beside),
			percent(l.overlap), known("%.3f", l.rms), known("%.5f", l.firm), l.touches, cell(l.why))
	}
	return workpiece.WriteText(r.s.job, "table", "table.csv", b.String())
}

// rank puts what wants a person first and the casting last.
func (l lying) rank() int {
	return slices.Index([]string{"no", "pinned", "yes", "casting"}, l.placed)
}

// near is how a scan lies over another.
type near struct {
	other        int // -1 for none
	overlap, rms float64
}

// bestBeside returns for each scan the one it lies over most, and how many it
// touches: of placed scans among those it touches, of others the best idea.
func (r *result) bestBeside() ([]near, []int) {
	best, touches := make([]near, len(r.s.scans)), make([]int, len(r.s.scans))
	for i := range best {
		best[i].other = -1
	}
	for _, p := range r.pairs {
		m := &p.meeting
		for _, e := range [2][2]int{{p.a, p.b}, {p.b, p.a}} {
			touches[e[0]]++
			if b := &best[e[0]]; b.other < 0 || m.Overlap() > b.overlap {
				*b = near{e[1], m.Overlap(), m.RMS()}
			}
		}
	}
	for i := range best {
		if r.g.in[i] || r.s.scans[i].copy {
			continue
		}
		if p, fits := r.s.fits(i, r.tried); p != nil && fits.Agree >= 0.5 {
			best[i] = near{p.a + p.b - i, fits.Overlap, fits.RMS}
		}
	}
	return best, touches
}

// groupOf numbers the groups as they were found, the one that counts first; a
// scan alone is in none.
func (r *result) groupOf(i int) string {
	if r.g.in[i] {
		return "1"
	}
	for k, g := range r.groups[min(1, len(r.groups)):] {
		if g.in[i] && len(g.order) > 1 {
			return fmt.Sprint(k + 2)
		}
	}
	return ""
}

// percent and known leave the unknown out.
func percent(x float64) string {
	if x < 0 {
		return ""
	}
	return fmt.Sprintf("%.0f %%", 100*x)
}

func known(form string, x float64) string {
	if x < 0 {
		return ""
	}
	return fmt.Sprintf(form, x)
}

// fits returns the best idea about a scan and the pair it is of, nil without any.
func (s *session) fits(i int, pairs []pair) (*pair, *idea) {
	var best *idea
	var with *pair
	for k := range pairs {
		p := &pairs[k]
		if (p.a == i || p.b == i) && len(p.ideas) > 0 && (best == nil || p.ideas[0].worth() > best.worth()) {
			best, with = &p.ideas[0], p
		}
	}
	return with, best
}

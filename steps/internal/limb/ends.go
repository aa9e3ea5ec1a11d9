package limb

import (
	"context"

	"layette/steps/internal/geom"
)

// uneven is how far an opening may stray from a plane before it is said, mm.
// Common practice, no source.
const uneven = 0.2

// Ends says what a step that needs no opening should still say of it: that there
// is none, or more than one, that it is not flat, and that there are several
// shells. rest says what is looked at all the same.
func Ends(ctx context.Context, m *geom.Mesh, e *geom.Edges, rest string, workers int) ([]string, error) {
	ends, err := m.Openings(ctx, e, workers)
	if err != nil {
		return nil, err
	}
	l := &Limb{Mesh: m}
	if _, n := m.Shells(e); n > 1 {
		l.note("%d separate shells: %s", n, rest)
	}
	switch n := len(ends); {
	case n == 0:
		l.note("no opening: no flat face with a sharp edge and no rim closes the part; %s", rest)
	case n > 1:
		l.note("%d openings, the largest of %.0f mm² at %s; %s", n, ends[0].Area, l.Place(ends[0].Centre), rest)
	}
	for _, o := range ends {
		if o.Flat > uneven {
			l.note("the opening at %s is not flat: it strays %.2f mm from a plane; %s", l.Place(o.Centre), o.Flat, rest)
			break
		}
	}
	return l.Notes, nil
}

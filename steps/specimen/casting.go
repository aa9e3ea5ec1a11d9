package specimen

import (
	"context"
	"fmt"
	"maps"
	"slices"
	"strings"

	"layette/steps/internal/geom"
)

// Casting returns the surface of a hand or foot alone, cut at wrist or ankle,
// where it lies in its arm or leg: in that part's frame, not in its own. What
// the options plant in the casting is in it.
func (k *Kit) Casting(ctx context.Context, name string, s Sampling) (*geom.Mesh, error) {
	if !slices.Contains(Castings, name) {
		return nil, fmt.Errorf("specimen: no casting %q; there are %s", name, strings.Join(Castings, ", "))
	}
	cast, err := k.Part(name)
	if err != nil {
		return nil, err
	}
	limb, err := k.Part(strings.NewReplacer("hand", "arm", "foot", "leg").Replace(name))
	if err != nil {
		return nil, err
	}
	m, err := cast.Mesh(ctx, s)
	if err != nil {
		return nil, err
	}
	at, err := lies(cast, limb)
	if err != nil {
		return nil, err
	}
	for i, p := range m.Verts {
		m.Verts[i] = at.Apply(p.Vec()).Point()
	}
	return m, nil
}

// lies says where a casting lies in its limb, by the marks that both have.
func lies(cast, limb *Part) (geom.Fit, error) {
	var from, to []geom.Vec
	for _, name := range slices.Sorted(maps.Keys(cast.Marks)) {
		if there, ok := limb.Marks[name]; ok {
			from, to = append(from, cast.Marks[name]), append(to, there)
		}
	}
	return geom.FitRigid(from, to, nil)
}

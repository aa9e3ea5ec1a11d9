package desk

import (
	"context"
	"encoding/json"
	"net/http"
	"slices"
	"strconv"
	"sync"

	"layette/engine"
	"layette/engine/sheet"
)

// shown keeps what the 3D view was last given, so that going back and forth
// between stages does not reduce a surface of millions of triangles each time.
// Reducing is done for one at a time.
type shown struct {
	mu   sync.Mutex
	list []solidView // newest first
}

// kept is how many surfaces are kept, each of about a megabyte.
const kept = 8

// solidView is a surface for the 3D view. File is the digest of the file it was
// reduced from: a note pinned to it is a note about that file.
type solidView struct {
	Key   string          `json:"key"`
	File  string          `json:"file"`
	Solid json.RawMessage `json:"solid"`
}

// solidKey is the same for stages' findings that look the same; empty for none.
func solidKey(st *engine.Status) string {
	if len(st.Spots) == 0 && !slices.ContainsFunc(st.Files, func(f engine.File) bool { return f.Kind == "surface" }) {
		return ""
	}
	return st.Node.String() + " " + st.Key + " " + strconv.Itoa(len(st.Spots))
}

func (d *Desk) solid(r *http.Request) (any, error) {
	st, words, err := d.status(r.FormValue("id"))
	if err != nil {
		return nil, err
	}
	return d.shown.get(r.Context(), st, words, d.o.Solid)
}

func (s *shown) get(ctx context.Context, st *engine.Status, words *sheet.Stage, reduce func(context.Context, *engine.Status) (*sheet.Solid, engine.File, error)) (any, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	key := solidKey(st)
	if i := slices.IndexFunc(s.list, func(v solidView) bool { return v.Key == key }); i >= 0 {
		v := s.list[i]
		s.list = slices.Insert(slices.Delete(s.list, i, i+1), 0, v)
		return v, nil
	}
	solid, file, err := reduce(ctx, st)
	if err != nil {
		return nil, err
	}
	if solid == nil {
		return nil, wrong(http.StatusNotFound, "%s found nothing that can be seen on a surface", st.Node)
	}
	solid.Spots = words.Spots
	text, err := sheet.Solid3D(*solid)
	if err != nil {
		return nil, err
	}
	v := solidView{key, file.SHA256, text}
	s.list = slices.Insert(s.list, 0, v)
	s.list = s.list[:min(len(s.list), kept)]
	return v, nil
}

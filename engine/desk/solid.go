package desk

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"net/http"
	"slices"
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

// solid gives the surface of a stage for the 3D view, with what was found and
// what people pinned to it.
func (d *Desk) solid(r *http.Request) (any, error) {
	st, words, err := d.status(r.FormValue("id"))
	if err != nil {
		return nil, err
	}
	file, ok := d.o.Surface(st)
	if !ok {
		return nil, wrong(http.StatusNotFound, "%s found nothing that can be seen on a surface", st.Node)
	}
	return d.shown.get(solidKey(st, file, words.Spots), func() (v solidView, err error) {
		solid, err := d.o.Solid(r.Context(), st)
		if err != nil {
			return v, err
		}
		solid.Spots = words.Spots
		v.File = file.SHA256
		v.Solid, err = sheet.Solid3D(*solid)
		return v, err
	})
}

// solidKey is the same for what looks the same.
func solidKey(st *engine.Status, file engine.File, spots []sheet.Spot) string {
	sum := sha256.Sum256(fmt.Append(nil, st.Node, st.Key, file.SHA256, spots))
	return hex.EncodeToString(sum[:16])
}

// get returns what is kept under key, or makes it.
func (s *shown) get(key string, fresh func() (solidView, error)) (any, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if i := slices.IndexFunc(s.list, func(v solidView) bool { return v.Key == key }); i >= 0 {
		v := s.list[i]
		s.list = slices.Insert(slices.Delete(s.list, i, i+1), 0, v)
		return v, nil
	}
	v, err := fresh()
	if err != nil {
		return nil, err
	}
	v.Key = key
	s.list = slices.Insert(s.list, 0, v)
	s.list = s.list[:min(len(s.list), kept)]
	return v, nil
}

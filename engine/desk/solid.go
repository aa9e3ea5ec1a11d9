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

// views keeps what the 3D view was last given, so that going back and forth
// between stages does not reduce a surface of millions of triangles each time.
// Reducing is done for one at a time.
type views struct {
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

// solidName is what the page knows of a surface before it asks for it.
type solidName struct {
	Key   string `json:"key"` // what to ask for it by: the same for what looks the same
	File  string `json:"file"`
	Name  string `json:"name"`
	Spots []int  `json:"spots"` // numbers of those that lie on it
}

func nameOf(st *engine.Status, s Shown) solidName {
	sum := sha256.Sum256(fmt.Append(nil, st.Node, st.Key, s.File.SHA256, s.Spots))
	n := solidName{Key: hex.EncodeToString(sum[:16]), File: s.File.SHA256, Name: s.Name, Spots: []int{}}
	for _, spot := range s.Spots {
		n.Spots = append(n.Spots, spot.Number)
	}
	return n
}

// solid gives one surface of a stage for the 3D view, with what was found and
// what people pinned to it.
func (d *Desk) solid(r *http.Request) (any, error) {
	st, t, _, err := d.status(r.FormValue("id"))
	if err != nil {
		return nil, err
	}
	for _, s := range d.o.Shown(st, t) {
		if n := nameOf(st, s); n.Key == r.FormValue("key") {
			return d.views.get(n.Key, func() (v solidView, err error) {
				solid, err := d.o.Solid(r.Context(), d.model, st, s)
				if err != nil {
					return v, err
				}
				solid.Spots = s.Spots
				v.File = s.File.SHA256
				v.Solid, err = sheet.Solid3D(*solid)
				return v, err
			})
		}
	}
	return nil, wrong(http.StatusNotFound, "%s has no such surface now", st.Node)
}

// get returns what is kept under key, or makes it.
func (s *views) get(key string, fresh func() (solidView, error)) (any, error) {
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

// pictureView is a picture as an address that holds it whole.
type pictureView struct {
	Title string `json:"title"`
	Src   string `json:"src"`
	Photo string `json:"photo"`
	Lacks string `json:"lacks"`
}

// pictures gives the pictures of a stage.
func (d *Desk) pictures(r *http.Request) (any, error) {
	st, t, _, err := d.status(r.FormValue("id"))
	if err != nil {
		return nil, err
	}
	list, err := d.o.Pictures(r.Context(), d.model, st, t)
	if err != nil {
		return nil, err
	}
	views := []pictureView{}
	for _, p := range list {
		v := pictureView{Title: p.Title, Src: sheet.Address(p.Data), Lacks: p.Lacks}
		if len(p.Photo) > 0 {
			v.Photo = sheet.Address(p.Photo)
		}
		views = append(views, v)
	}
	return views, nil
}

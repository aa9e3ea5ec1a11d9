package engine

import (
	"fmt"
	"path"

	"layette/engine/recipe"
	"layette/engine/step"
)

// Photo is a photograph that the recipe or the model sheet gives for a stage.
// Its File is only for showing: no digest of it is taken.
type Photo struct {
	recipe.Photo
	File  *File // nil if it is not there
	Lacks string
}

// Photos returns the photographs of one stage, in order of name. What is not
// there is told in its place.
func (m *Model) Photos(r *recipe.Recipe, n Node) ([]Photo, error) {
	var list []Photo
	for _, p := range r.PhotosOf(n.Stage, n.Part) {
		found, err := newLister().glob(m.here(), p.File)
		if err != nil {
			return nil, err
		}
		photo := Photo{Photo: p}
		switch len(found) {
		case 0:
			photo.Lacks = "there is no file " + p.File
		case 1:
			photo.File = &File{Name: path.Base(found[0]), Path: found[0], Kind: step.Picture, bytes: where{place: m.here(), name: found[0], source: true}}
		default:
			photo.Lacks = fmt.Sprintf("%d files are called %s, and one is wanted", len(found), p.File)
		}
		list = append(list, photo)
	}
	return list, nil
}

// Kept returns what was kept for showing under a key that names all it depends
// on, and Keep keeps it. It may be gone at any time; a failure to keep is no
// harm.
func (m *Model) Kept(key string) ([]byte, bool) {
	left, ok := m.store.Left("shown\n" + key)
	if !ok {
		return nil, false
	}
	defer left.Close()
	data := make([]byte, left.Size())
	_, err := left.ReadAt(data, 0)
	return data, err == nil
}

// Keep keeps data under a key for Kept.
func (m *Model) Keep(key string, data []byte) { _ = m.store.Leave("shown\n"+key, data) }

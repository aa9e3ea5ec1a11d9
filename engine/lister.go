package engine

import (
	"errors"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strings"

	"layette/engine/recipe"
	"layette/engine/store"
)

// place returns the model's own folder, or a folder outside it that the model
// sheet names. Nothing else outside the model is ever read.
func (m *Model) place(r *recipe.Recipe, folder string) (store.Place, error) {
	if folder == "" {
		return m.here(), nil
	}
	at := filepath.FromSlash(r.Folders[folder].Path)
	if !filepath.IsAbs(at) {
		at = filepath.Join(m.Dir, at)
	}
	m.mu.Lock()
	defer m.mu.Unlock()
	root := m.others[at]
	if root == nil {
		var err error
		if root, err = os.OpenRoot(at); err != nil {
			return store.Place{}, err
		}
		m.others[at] = root
	}
	return store.Place{Root: root, Name: filepath.ToSlash(at)}, nil
}

func shown(p store.Place, name string) string {
	if p.Name == "" {
		return name
	}
	return path.Join(p.Name, name)
}

// lister finds files by pattern and reads each folder once.
type lister struct{ folders map[string][]fs.DirEntry }

func newLister() *lister { return &lister{map[string][]fs.DirEntry{}} }

// glob returns the files below p that a glob of a recipe stands for (see
// recipe.Match), in order of name. Files and folders whose name begins with a
// dot are found only by a word that says so. What is not there is no error.
func (l *lister) glob(p store.Place, pattern string) ([]string, error) {
	found := []string{"."}
	words := strings.Split(pattern, "/")
	if words[len(words)-1] == "**" {
		words = append(words, "*") // every file, however deep
	}
	for i, word := range words {
		var next []string
		for _, dir := range found {
			names, err := l.word(p, dir, word, i == len(words)-1)
			if err != nil {
				return nil, err
			}
			next = append(next, names...)
		}
		found = next
	}
	slices.Sort(found)
	return slices.Compact(found), nil
}

// word returns what of one folder a word of a glob stands for.
func (l *lister) word(p store.Place, dir, word string, last bool) ([]string, error) {
	if word == "**" {
		return l.deep(p, dir)
	}
	return l.match(p, dir, word, last)
}

// deep returns a folder and all below it.
func (l *lister) deep(p store.Place, dir string) ([]string, error) {
	below, err := l.match(p, dir, "*", false)
	if err != nil {
		return nil, err
	}
	all := []string{dir}
	for _, d := range below {
		more, err := l.deep(p, d)
		if err != nil {
			return nil, err
		}
		all = append(all, more...)
	}
	return all, nil
}

// match returns what of one folder a word of a pattern stands for: files if it
// is the last word, else folders.
func (l *lister) match(p store.Place, dir, word string, last bool) ([]string, error) {
	entries, err := l.read(p, dir)
	if err != nil {
		return nil, err
	}
	var found []string
	for _, e := range entries {
		ok, err := path.Match(word, e.Name())
		if err != nil {
			return nil, err
		}
		hidden := strings.HasPrefix(e.Name(), ".") && !strings.HasPrefix(word, ".")
		folder := e.IsDir() // a link to a folder is not followed: it may lead in a circle
		if ok && !hidden && folder != last {
			found = append(found, path.Join(dir, e.Name()))
		}
	}
	return found, nil
}

func (l *lister) read(p store.Place, dir string) ([]fs.DirEntry, error) {
	key := shown(p, dir)
	if entries, ok := l.folders[key]; ok {
		return entries, nil
	}
	entries, err := fs.ReadDir(p.Root.FS(), dir)
	if errors.Is(err, fs.ErrNotExist) {
		err = nil
	}
	if err == nil {
		l.folders[key] = entries
	}
	return entries, err
}

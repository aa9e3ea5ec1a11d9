package recipe

import (
	"cmp"
	"fmt"
	"slices"

	"layette/engine/diag"
	"layette/engine/step"
)

// Text is a text and the name to call it by in problems, such as "recipes/base.toml".
type Text struct {
	Name string
	Data []byte
}

// Sources are the texts a recipe is read from. Nothing else is read.
type Sources struct {
	// Sheet is the model sheet; without Data the recipe is read on its own.
	Sheet Text
	// Folder is the name of the model's folder, which names the model unless the sheet does.
	Folder string
	// Recipe is the recipe; without Data it is found by the name the sheet gives.
	Recipe Text
	// Find returns the recipe of a name; it answers fs.ErrNotExist when there is none.
	Find func(name string) (Text, error)
	// Names are the recipes that Find knows, for "did you mean".
	Names []string
}

// Read reads a recipe, those it extends, and the model sheet over it. All that
// is wrong comes as one error; diag.Of lists its problems.
func Read(src Sources, kinds []step.Kind) (*Recipe, error) {
	r := &reader{src: src, kinds: map[string]step.Kind{}, out: &Recipe{
		Roles: map[string]*Role{}, Folders: map[string]*Folder{}, Quantities: map[string]*Quantity{}}}
	for _, k := range kinds {
		r.kinds[k.Handbook().Name] = k
	}
	if len(src.Sheet.Data) > 0 {
		r.sheet = parse(src.Sheet, &r.bad)
		if r.sheet == nil {
			return nil, r.bad.Err()
		}
	}
	text, ok := r.recipeText()
	if !ok {
		return nil, r.bad.Err()
	}
	root, lines := r.lineage(text)
	if root == nil {
		return nil, r.bad.Err()
	}
	r.out.File, r.out.Lines = text.Name, lines
	r.all(root)
	if err := r.bad.Err(); err != nil {
		return nil, err
	}
	return r.out, nil
}

// recipeText returns the recipe's own text.
func (r *reader) recipeText() (Text, bool) {
	if len(r.src.Recipe.Data) > 0 || r.sheet == nil {
		return r.src.Recipe, true
	}
	r.need(r.sheet, "the model sheet", "recipe", `write recipe = "NAME"`)
	name := r.text(r.sheet, "recipe")
	if name == "" {
		return Text{}, false
	}
	return r.find(r.sheet.get("recipe"), name)
}

// all reads every table of the recipe, then what ties them together.
func (r *reader) all(root *node) {
	r.top(root)
	r.parts(root)
	for _, m := range r.tables(root, "materials", "material") {
		r.quantities(m, "materials."+m.key)
	}
	if t := r.table(root, "tolerances"); t != nil {
		r.quantities(t, "tolerances")
	}
	r.roles(root)
	r.child()
	r.readStages(root)
	r.photos(root)
	r.overrides()
	r.settle()
	r.order()
}

func (r *reader) top(root *node) {
	r.only(root, "a recipe", "format", "title", "extends", "note", "parts", "materials", "tolerances", "roles", "stages", "photos")
	r.need(root, "the recipe", "format", "write format = 1")
	r.need(root, "the recipe", "title", `write title = "..."`)
	r.out.Title = r.line(root, "title")
	r.text(root, "note")
}

func (r *reader) format(root *node) {
	if f := root.get("format"); f != nil && f.value != int64(1) {
		r.at(f, "format", "this tool reads format 1", "write format = 1, or take a newer version of the tool")
	}
}

func (r *reader) parts(root *node) {
	nodes := r.tables(root, "parts", "part")
	for _, n := range nodes {
		p := &Part{Name: n.key, Mirror: r.text(n, "mirror"), Scans: r.text(n, "scans"), Pos: n.keyAt}
		r.out.Parts = append(r.out.Parts, p)
		if p.Scans != "" {
			r.path(n.get("scans"), p.Scans)
		}
		r.quantities(n, "parts."+n.key, "mirror", "scans")
	}
	slices.SortFunc(r.out.Parts, func(a, b *Part) int { return cmp.Compare(a.Name, b.Name) })
	for _, n := range nodes {
		r.mirrored(n)
	}
}

func (r *reader) mirrored(n *node) {
	m := n.get("mirror")
	name, ok := m.text1()
	switch {
	case !ok:
	case name == n.key:
		r.at(m, "mirror", fmt.Sprintf("part %q is said to mirror itself", name), "name the part on the other side, or leave mirror out")
	case r.part(name) == nil:
		r.unknownPart(m, name)
	}
}

func (r *reader) part(name string) *Part {
	for _, p := range r.out.Parts {
		if p.Name == name {
			return p
		}
	}
	return nil
}

func (r *reader) partNames() []string {
	var names []string
	for _, p := range r.out.Parts {
		names = append(names, p.Name)
	}
	return names
}

func (r *reader) unknownPart(n *node, name string) {
	hint := diag.DidYouMean(name, r.partNames())
	if hint == "" {
		hint = fmt.Sprintf("write [parts.%s] if the kit has such a part", name)
	}
	r.at(n, "unknown-part", fmt.Sprintf("there is no part %q", name), hint)
}

func (r *reader) roles(root *node) {
	for _, n := range r.tables(root, "roles", "role") {
		r.only(n, "a role", "doc")
		r.out.Roles[n.key] = &Role{Name: n.key, Doc: r.line(n, "doc"), Pos: n.keyAt}
	}
}

// path checks a glob of files below the model.
func (r *reader) path(n *node, glob string) bool {
	says, hint := astray(glob)
	if says != "" {
		r.at(n, "bad-path", says, hint)
	}
	return says == ""
}

// child reads what the model sheet says of itself and of the child.
func (r *reader) child() {
	r.out.Model = Model{Name: r.src.Folder, File: r.src.Sheet.Name}
	defer func() { // what values and rules may say of the model
		r.put(&Quantity{Name: "model.name", Type: step.String, Value: r.out.Model.Name})
		r.put(&Quantity{Name: "model.title", Type: step.String, Value: r.out.Model.Title})
	}()
	if r.sheet == nil {
		return
	}
	r.only(r.sheet, "a model sheet", "format", "recipe", "title", "name", "note", "child", "folders", "photos", "overrides")
	r.format(r.sheet)
	r.text(r.sheet, "recipe")
	r.text(r.sheet, "note")
	if name := r.line(r.sheet, "name"); name != "" {
		r.out.Model.Name = name
	}
	r.out.Model.Title = r.line(r.sheet, "title")
	if c := r.table(r.sheet, "child"); c != nil {
		r.quantities(c, "child")
	}
	for _, n := range r.tables(r.sheet, "folders", "folder") {
		r.only(n, "a folder", "path", "note")
		r.need(n, fmt.Sprintf("folder %q", n.key), "path", `write path = "/mnt/second/luna"`)
		r.text(n, "note")
		r.out.Folders[n.key] = &Folder{Name: n.key, Path: r.line(n, "path"), Pos: n.keyAt}
	}
}

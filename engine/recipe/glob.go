package recipe

import (
	"path"
	"strings"
	"unicode"
)

// Match reports whether a path below the model matches a glob of a recipe: as
// path.Match has it, and a segment "**" stands for any number of folders, none
// included.
func Match(glob, name string) bool {
	return match(strings.Split(glob, "/"), strings.Split(name, "/"))
}

func match(glob, name []string) bool {
	for len(glob) > 0 && glob[0] != "**" {
		if len(name) == 0 {
			return false
		}
		if ok, err := path.Match(glob[0], name[0]); !ok || err != nil {
			return false
		}
		glob, name = glob[1:], name[1:]
	}
	switch len(glob) {
	case 0:
		return len(name) == 0
	case 1:
		return len(name) > 0 // ** at the end: every file below
	}
	for ; len(name) > 0; name = name[1:] {
		if match(glob[1:], name) {
			return true
		}
	}
	return false
}

// astray says what is wrong with a glob of files below the model, or nothing.
func astray(glob string) (says, hint string) {
	const below = "write it from the model's folder on: \"sculpt/{part}.stl\""
	segments := strings.Split(glob, "/")
	switch {
	case glob == "":
		return "the path is empty", below
	case strings.HasPrefix(glob, "/") || len(glob) > 1 && glob[1] == ':' || strings.HasPrefix(glob, "~"):
		return "the path does not lie below the model's folder", below + ", or name the folder in the model sheet under [folders.NAME]"
	case strings.Contains(glob, `\`):
		return "the path has a backslash", "write folders with a forward slash: \"sculpt/head.stl\""
	case strings.IndexFunc(glob, unicode.IsControl) >= 0:
		return "the path has a sign that cannot be printed", ""
	case strings.Count(glob, "**") > 4 || len(glob) > 1000:
		return "the path is too long or has too many **", ""
	}
	for _, s := range segments {
		switch {
		case s == "..":
			return "the path leaves the model's folder", below + ", or name the folder in the model sheet under [folders.NAME]"
		case s == "" || s == ".":
			return "the path has an empty or idle folder in it", below
		case s == ".layette":
			return "the path leads into the tool's own folder", "take the stage's output: { from = \"STAGE\" }"
		case strings.Contains(s, "**") && s != "**":
			return "** must stand alone between slashes", ""
		}
		if _, err := path.Match(s, ""); err != nil {
			return "the path has an open bracket that nothing closes", ""
		}
	}
	return badBraces(glob)
}

// badBraces tells words in braces other than {part} and {scan}.
func badBraces(glob string) (says, hint string) {
	rest := strings.NewReplacer("{part}", "", "{scan}", "").Replace(glob)
	if strings.ContainsAny(rest, "{}") {
		return "the path may hold {part} and {scan} and no other braces", ""
	}
	return "", ""
}

// Package bagit writes and checks bags: folders packed so that anybody can
// tell whether a file is missing, changed or added. The format is RFC 8493,
// "The BagIt File Packaging Format (V1.0)", October 2018; section numbers in
// this package are that document's.
//
// Only SHA-256 is written. A bag read may bring other digests beside it; what
// is checked is SHA-256, and a bag without it cannot be told.
package bagit

import (
	"fmt"
	"slices"
	"strings"
	"unicode/utf8"
)

// Names of the tag files.
const (
	DeclarationFile = "bagit.txt"
	InfoFile        = "bag-info.txt"
	ManifestFile    = "manifest-sha256.txt"
	TagManifestFile = "tagmanifest-sha256.txt"
	payload         = "data/"
)

// Declaration is the whole of bagit.txt (2.1.1).
const Declaration = "BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n"

// File is one file of a bag: its path below the bag's folder with forward
// slashes, its SHA-256 in 64 hex digits, and its size in bytes.
type File struct {
	Path   string
	SHA256 string
	Size   int64
}

// Manifest returns the lines of a manifest for files, sorted by path (2.1.3).
func Manifest(files []File) []byte {
	files = slices.SortedFunc(slices.Values(files), func(a, b File) int { return strings.Compare(a.Path, b.Path) })
	var b strings.Builder
	for _, f := range files {
		fmt.Fprintf(&b, "%s  %s\n", strings.ToLower(f.SHA256), encode(f.Path))
	}
	return []byte(b.String())
}

// Only these are encoded, and only so (2.1.3).
var encoder = strings.NewReplacer("%", "%25", "\n", "%0A", "\r", "%0D")

func encode(path string) string { return encoder.Replace(path) }

func decode(path string) string {
	return strings.NewReplacer("%25", "%", "%0A", "\n", "%0a", "\n", "%0D", "\r", "%0d", "\r").Replace(path)
}

// ParseManifest reads a manifest. Every line that is not one is told, with its
// number; the rest is returned, in the order of the lines.
func ParseManifest(name string, text []byte) ([]File, []string) {
	if !utf8.Valid(text) {
		return nil, []string{name + " is not UTF-8 text"}
	}
	var files []File
	var wrong []string
	seen := map[string]bool{}
	for i, line := range splitLines(string(text)) {
		if line == "" {
			continue
		}
		f, err := parseLine(line)
		switch {
		case err != nil:
			wrong = append(wrong, fmt.Sprintf("%s line %d: %v", name, i+1, err))
		case seen[f.Path]:
			wrong = append(wrong, fmt.Sprintf("%s line %d: %q is listed twice", name, i+1, f.Path))
		default:
			seen[f.Path] = true
			files = append(files, f)
		}
	}
	return files, wrong
}

// splitLines parts text at LF, CR or CRLF (2.1.3 leaves the ending open).
func splitLines(text string) []string {
	text = strings.ReplaceAll(text, "\r\n", "\n")
	return strings.Split(strings.ReplaceAll(text, "\r", "\n"), "\n")
}

func parseLine(line string) (File, error) {
	cut := strings.IndexAny(line, " \t")
	if cut < 0 {
		return File{}, fmt.Errorf("a digest, a blank and a path are wanted")
	}
	sum := strings.ToLower(line[:cut])
	if len(sum) != 64 || strings.Trim(sum, "0123456789abcdef") != "" {
		return File{}, fmt.Errorf("%.20q is no SHA-256 in 64 hex digits", sum)
	}
	path := decode(strings.TrimLeft(line[cut:], " \t"))
	if why := unfit(path); why != "" {
		return File{}, fmt.Errorf("%q %s", path, why)
	}
	return File{Path: path, SHA256: sum}, nil
}

// unfit says why path may not stand in a manifest: section 5.1 warns of names
// that lead out of the bag.
func unfit(path string) string {
	switch {
	case path == "":
		return "is no path"
	case strings.HasPrefix(path, "/"), strings.HasPrefix(path, "~"), strings.Contains(path, `\`):
		return "leads out of the bag, or may on some machines"
	case len(path) > 1 && path[1] == ':':
		return "names a drive"
	}
	for _, piece := range strings.Split(path, "/") {
		if piece == ".." || piece == "." || piece == "" {
			return "is not a plain path below the bag"
		}
	}
	return ""
}

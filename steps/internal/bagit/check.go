package bagit

import (
	"fmt"
	"maps"
	"slices"
	"strings"
)

// Report is what a check of a bag found. The bag is complete if nothing is
// missing and nothing of its payload is unlisted, and valid if besides nothing
// is damaged (section 3).
type Report struct {
	Missing []string // listed and not there
	Damaged []string // there with other bytes than listed
	Extra   []string // payload that no manifest lists
	Wrong   []string // sentences: what is not as the RFC asks
}

// Complete reports whether every listed file is there and no other payload is.
func (r Report) Complete() bool {
	return len(r.Missing)+len(r.Extra)+len(r.Wrong) == 0
}

// Valid reports whether the bag is complete and every digest is as listed.
func (r Report) Valid() bool { return r.Complete() && len(r.Damaged) == 0 }

// Check compares a folder's files, with the digests they have now, with what
// the bag's own tag files say. read returns a tag file's bytes.
func Check(files []File, read func(path string) ([]byte, error)) Report {
	c := checker{read: read, have: map[string]File{}}
	for _, f := range files {
		c.have[f.Path] = f
	}
	c.declaration()
	c.manifest()
	c.tags()
	c.oxum()
	slices.Sort(c.Missing)
	slices.Sort(c.Damaged)
	slices.Sort(c.Extra)
	return c.Report
}

type checker struct {
	Report
	read   func(string) ([]byte, error)
	have   map[string]File
	listed []File
}

func (c *checker) wrong(format string, args ...any) {
	c.Wrong = append(c.Wrong, fmt.Sprintf(format, args...))
}

// text returns a tag file, or says that it cannot be read.
func (c *checker) text(name string) ([]byte, bool) {
	data, err := c.read(name)
	if err != nil {
		c.wrong("%s cannot be read: %v", name, err)
	}
	return data, err == nil
}

func (c *checker) declaration() {
	if _, ok := c.have[DeclarationFile]; !ok {
		c.wrong("there is no %s: this folder is no bag", DeclarationFile)
		return
	}
	text, ok := c.text(DeclarationFile)
	if !ok {
		return
	}
	lines := splitLines(strings.TrimRight(string(text), "\r\n"))
	if len(lines) != 2 || !strings.HasPrefix(lines[0], "BagIt-Version: ") || !strings.HasPrefix(lines[1], "Tag-File-Character-Encoding: ") {
		c.wrong("%s must hold exactly two lines, BagIt-Version and Tag-File-Character-Encoding", DeclarationFile)
		return
	}
	if v := strings.TrimPrefix(lines[0], "BagIt-Version: "); v != "1.0" && v != "0.97" {
		c.wrong("%s says version %q; versions 1.0 and 0.97 can be checked", DeclarationFile, v)
	}
	if e := strings.TrimPrefix(lines[1], "Tag-File-Character-Encoding: "); !strings.EqualFold(e, "UTF-8") {
		c.wrong("%s says the tag files are in %q; only UTF-8 can be checked", DeclarationFile, e)
	}
}

func (c *checker) manifest() {
	if _, ok := c.have[ManifestFile]; !ok {
		c.wrong("there is no %s", ManifestFile)
		return
	}
	text, ok := c.text(ManifestFile)
	if !ok {
		return
	}
	listed, wrong := ParseManifest(ManifestFile, text)
	c.Wrong = append(c.Wrong, wrong...)
	c.listed = listed
	known := map[string]bool{}
	for _, f := range listed {
		if !strings.HasPrefix(f.Path, payload) {
			c.wrong("%s lists %q, which is not below data/", ManifestFile, f.Path)
			continue
		}
		known[f.Path] = true
		c.compare(f)
	}
	for _, path := range slices.Sorted(maps.Keys(c.have)) {
		if strings.HasPrefix(path, payload) && !known[path] {
			c.Extra = append(c.Extra, path)
		}
	}
}

func (c *checker) compare(f File) {
	switch have, ok := c.have[f.Path]; {
	case !ok:
		c.Missing = append(c.Missing, f.Path)
	case have.SHA256 != f.SHA256:
		c.Damaged = append(c.Damaged, f.Path)
	}
}

// tags checks the tag manifest, if there is one (2.2.1).
func (c *checker) tags() {
	if _, ok := c.have[TagManifestFile]; !ok {
		return
	}
	text, ok := c.text(TagManifestFile)
	if !ok {
		return
	}
	listed, wrong := ParseManifest(TagManifestFile, text)
	c.Wrong = append(c.Wrong, wrong...)
	for _, f := range listed {
		if strings.HasPrefix(f.Path, payload) || strings.HasPrefix(f.Path, "tagmanifest-") {
			c.wrong("%s lists %q, which is no tag file it may list", TagManifestFile, f.Path)
			continue
		}
		c.compare(f)
	}
}

// oxum compares Payload-Oxum, where it is given, with the payload that is there.
func (c *checker) oxum() {
	if _, ok := c.have[InfoFile]; !ok {
		return
	}
	text, ok := c.text(InfoFile)
	if !ok {
		return
	}
	info, wrong := ParseInfo(text)
	c.Wrong = append(c.Wrong, wrong...)
	for _, l := range info {
		if !strings.EqualFold(l.Name, "Payload-Oxum") {
			continue
		}
		if got := Oxum(slices.Collect(maps.Values(c.have))); got != l.Value {
			c.wrong("%s says the payload is %s (bytes.files); it is %s", InfoFile, l.Value, got)
		}
	}
}

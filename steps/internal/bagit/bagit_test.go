package bagit

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"slices"
	"strings"
	"testing"
)

// The cases of this file are written from the text of RFC 8493, section by
// section; the section stands beside each.

// folder is a bag in memory.
type folder map[string]string

func (f folder) files() []File {
	var list []File
	for path, text := range f {
		sum := sha256.Sum256([]byte(text))
		list = append(list, File{path, hex.EncodeToString(sum[:]), int64(len(text))})
	}
	return list
}

func (f folder) read(path string) ([]byte, error) {
	text, ok := f[path]
	if !ok {
		return nil, errors.New("no such file")
	}
	return []byte(text), nil
}

func sum(text string) string {
	s := sha256.Sum256([]byte(text))
	return hex.EncodeToString(s[:])
}

// good is a valid bag with two payload files, one in a folder.
func good() folder {
	f := folder{
		"bagit.txt":               Declaration,
		"data/head.stl":           "head",
		"data/hands/left arm.stl": "arm",
		"bag-info.txt":            "Source-Organization: Wren & Thistle\nPayload-Oxum: 7.2\n",
	}
	f["manifest-sha256.txt"] = sum("head") + "  data/head.stl\n" + sum("arm") + "  data/hands/left arm.stl\n"
	f["tagmanifest-sha256.txt"] = sum(f["bagit.txt"]) + "  bagit.txt\n" + sum(f["manifest-sha256.txt"]) + "  manifest-sha256.txt\n"
	return f
}

func TestCheck(t *testing.T) {
	tests := []struct {
		name    string // what the RFC says, and where
		change  func(folder)
		valid   bool
		missing string
		damaged string
		extra   string
		wrong   string // substring of one sentence
	}{
		{name: "a valid bag (3)", change: func(folder) {}, valid: true},
		{name: "tag files are optional but for two (2.2)", change: func(f folder) { delete(f, "bag-info.txt"); delete(f, "tagmanifest-sha256.txt") }, valid: true},
		{name: "the declaration is required (2.1.1)", change: func(f folder) { delete(f, "bagit.txt") }, wrong: "no bagit.txt"},
		{name: "exactly two lines (2.1.1)", change: func(f folder) { f["bagit.txt"] += "More: yes\n"; retag(f) }, wrong: "exactly two lines"},
		{name: "no byte order mark (2.1.1)", change: func(f folder) { f["bagit.txt"] = "\ufeff" + f["bagit.txt"]; retag(f) }, wrong: "exactly two lines"},
		{name: "a version of another time (2.1.1)", change: func(f folder) { f["bagit.txt"] = strings.Replace(Declaration, "1.0", "9.3", 1); retag(f) }, wrong: `version "9.3"`},
		{name: "a payload manifest is required (2.1.3)", change: func(f folder) { delete(f, "manifest-sha256.txt") }, wrong: "no manifest-sha256.txt"},
		{name: "every payload file is listed (2.1.3)", change: func(f folder) { f["data/more.txt"] = "x"; delete(f, "bag-info.txt") }, extra: "data/more.txt"},
		{name: "every listed file is there (3)", change: func(f folder) { delete(f, "data/head.stl"); delete(f, "bag-info.txt") }, missing: "data/head.stl"},
		{name: "every digest verifies (3)", change: func(f folder) { f["data/head.stl"] = "dead" }, damaged: "data/head.stl"},
		{name: "hex may be upper case (2.1.3)", change: func(f folder) {
			f["manifest-sha256.txt"] = strings.ToUpper(sum("head")) + "  data/head.stl\n" + sum("arm") + "  data/hands/left arm.stl\n"
			retag(f)
		}, valid: true},
		{name: "one blank or a tab may part them (2.1.3)", change: func(f folder) {
			f["manifest-sha256.txt"] = sum("head") + " data/head.stl\n" + sum("arm") + "\t\tdata/hands/left arm.stl\n"
			retag(f)
		}, valid: true},
		{name: "lines may end in CR or CRLF", change: func(f folder) {
			f["manifest-sha256.txt"] = strings.ReplaceAll(f["manifest-sha256.txt"], "\n", "\r\n")
			retag(f)
		}, valid: true},
		{name: "a payload manifest names only payload (2.1.3)", change: func(f folder) {
			f["manifest-sha256.txt"] += sum(f["bagit.txt"]) + "  bagit.txt\n"
			retag(f)
		}, wrong: "not below data/"},
		{name: "each file once (2.1.3)", change: func(f folder) {
			f["manifest-sha256.txt"] += sum("head") + "  data/head.stl\n"
			retag(f)
		}, wrong: "listed twice"},
		{name: "a name that leads out (5.1)", change: func(f folder) {
			f["manifest-sha256.txt"] += sum("x") + "  data/../../etc/passwd\n"
			retag(f)
		}, wrong: "not a plain path"},
		{name: "a home folder (5.1)", change: func(f folder) {
			f["manifest-sha256.txt"] += sum("x") + "  ~/notes\n"
			retag(f)
		}, wrong: "leads out of the bag"},
		{name: "a tag manifest names no payload (2.2.1)", change: func(f folder) {
			f["tagmanifest-sha256.txt"] += sum("head") + "  data/head.stl\n"
		}, wrong: "no tag file it may list"},
		{name: "a changed tag file (2.2.1)", change: func(f folder) { f["bagit.txt"] = strings.ReplaceAll(Declaration, "\n", "\r\n") }, damaged: "bagit.txt"},
		{name: "the payload's size (2.2.2)", change: func(f folder) { f["bag-info.txt"] = "Payload-Oxum: 8.2\n" }, wrong: "it is 7.2"},
		{name: "a label goes on on the next line (2.2.2)", change: func(f folder) {
			f["bag-info.txt"] = "External-Description: five\n  parts\nPayload-Oxum: 7.2\n"
		}, valid: true},
		{name: "no digest at all", change: func(f folder) { f["manifest-sha256.txt"] = "data/head.stl\n"; retag(f) }, wrong: "a digest, a blank and a path"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			f := good()
			tt.change(f)
			r := Check(f.files(), f.read)
			if r.Valid() != tt.valid {
				t.Errorf("valid = %v, want %v: %+v", r.Valid(), tt.valid, r)
			}
			for _, c := range []struct {
				what, want string
				got        []string
			}{{"missing", tt.missing, r.Missing}, {"damaged", tt.damaged, r.Damaged}, {"extra", tt.extra, r.Extra}} {
				if c.want != "" && !slices.Contains(c.got, c.want) {
					t.Errorf("%s = %v, want %s in it", c.what, c.got, c.want)
				}
			}
			if tt.wrong != "" && !strings.Contains(strings.Join(r.Wrong, "\n"), tt.wrong) {
				t.Errorf("says %q, want %q in it", r.Wrong, tt.wrong)
			}
		})
	}
}

// retag renews the tag manifest, so that a case is about one thing only.
func retag(f folder) {
	f["tagmanifest-sha256.txt"] = sum(f["bagit.txt"]) + "  bagit.txt\n" + sum(f["manifest-sha256.txt"]) + "  manifest-sha256.txt\n"
}

// TestPathEncoding: "those characters (and only those)" are encoded (2.1.3).
func TestPathEncoding(t *testing.T) {
	tests := []struct{ path, written string }{
		{"data/a b.stl", "data/a b.stl"},
		{"data/50%.stl", "data/50%25.stl"},
		{"data/a\nb", "data/a%0Ab"},
		{"data/a\r\nb", "data/a%0D%0Ab"},
		{"data/%0A", "data/%250A"},
		{"data/Säugling.stl", "data/Säugling.stl"},
	}
	for _, tt := range tests {
		if got := encode(tt.path); got != tt.written {
			t.Errorf("encode(%q) = %q, want %q", tt.path, got, tt.written)
		}
		if got := decode(tt.written); got != tt.path {
			t.Errorf("decode(%q) = %q, want %q", tt.written, got, tt.path)
		}
	}
}

func FuzzManifest(f *testing.F) {
	f.Add([]byte(good()["manifest-sha256.txt"]))
	f.Add([]byte(strings.Repeat("a", 64) + "  data/50%25\r" + strings.Repeat("B", 64) + "\tdata/x\r\n"))
	f.Fuzz(func(t *testing.T, text []byte) {
		files, _ := ParseManifest("m", text)
		again, wrong := ParseManifest("m", Manifest(files))
		if len(wrong) != 0 || len(again) != len(files) {
			t.Fatalf("wrote %v, read %v (%v)", files, again, wrong)
		}
		slices.SortFunc(files, func(a, b File) int { return strings.Compare(a.Path, b.Path) })
		if !slices.Equal(files, again) {
			t.Fatalf("wrote %v, read %v", files, again)
		}
	})
}

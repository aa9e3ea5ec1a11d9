package trail

import (
	"bytes"
	"crypto/sha256"
	_ "embed"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strings"

	"golang.org/x/text/unicode/norm"
)

//go:embed check.sh
var checkScript string

// Export writes what an auditor needs into dir, which must be new or empty:
//
//	trail.txt          the trail, each record once, in causal order
//	report.txt         the same for reading
//	allowed_signers    everybody's public keys, for ssh-keygen
//	check.sh           verifies every signature with grep, cut, sort and ssh-keygen alone
//	trail-as-found.txt the file byte for byte, if it holds anything else
//
// root is the model's folder: files that records name are looked up there and
// those that differ today are told; empty looks nothing up.
func (t *Trail) Export(dir, root string) error {
	if t.opening == nil {
		return errors.New("the trail has no records to export")
	}
	if entries, err := os.ReadDir(dir); err == nil && len(entries) > 0 {
		return fmt.Errorf("%s is not empty: name a new folder", dir)
	}
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return err
	}
	changed := []string{"(not looked up)"}
	if root != "" {
		var err error
		if changed, err = t.Changed(root); err != nil {
			return err
		}
	}
	neat := t.neat()
	files := map[string][]byte{FileName: neat, "report.txt": []byte(t.Report(changed)),
		"allowed_signers": []byte(t.AllowedSigners()), "check.sh": []byte(checkScript)}
	if !bytes.Equal(neat, t.data) {
		files["trail-as-found.txt"] = t.data
	}
	for name, data := range files {
		mode := os.FileMode(0o644)
		if name == "check.sh" {
			mode = 0o755
		}
		if err := replace(filepath.Join(dir, name), data, mode); err != nil {
			return err
		}
	}
	return nil
}

// neat returns every sound record once, in causal order.
func (t *Trail) neat() []byte {
	var b bytes.Buffer
	for _, r := range t.list {
		b.Write(r.lines)
		b.Write(r.sig)
	}
	return b.Bytes()
}

// AllowedSigners returns every key that was ever enrolled, as ssh-keygen's
// allowed signers file (ssh-keygen(1)). It gives no dates: ssh-keygen judges
// them by a clock that the signer sets, and would refuse all that a retired
// key ever signed. Which signatures of a retired key count is told by their
// place in the trail.
func (t *Trail) AllowedSigners() string {
	var b strings.Builder
	for _, m := range t.People() {
		for _, k := range m.Keys {
			if k.Retired != "" {
				fmt.Fprintf(&b, "# retired: %s\n", k.Retired)
			}
			fmt.Fprintf(&b, "%s namespaces=%q %s\n", m.Name, Namespace, k.Public)
		}
	}
	return b.String()
}

// Changed looks up, below the model's folder root, every file that a standing
// sign-off or concession names and returns a sentence for each that is gone or
// differs today. Of several records that name a file by the same label the
// newest counts. It reads the files whole.
func (t *Trail) Changed(root string) ([]string, error) {
	dir, err := os.OpenRoot(root)
	if err != nil {
		return nil, err
	}
	defer dir.Close()
	newest := map[string]*Record{}
	var labels []string
	for _, r := range t.list {
		if r.Void != "" || r.Verdict == Withdraw {
			continue
		}
		for _, f := range r.Files {
			if newest[f.Label] == nil {
				labels = append(labels, f.Label)
			}
			newest[f.Label] = r
		}
	}
	slices.Sort(labels)
	var changed []string
	for _, label := range labels {
		r := newest[label]
		i := slices.IndexFunc(r.Files, func(f File) bool { return f.Label == label })
		if why := differs(dir, r.Files[i]); why != "" {
			changed = append(changed, fmt.Sprintf("%s %s; %s signed %q on %s for %s…", label, why, r.ByPrinted, r.says(), r.Stage, r.Files[i].SHA256[:12]))
		}
	}
	return changed, nil
}

func differs(dir *os.Root, f File) string {
	now, err := Look(dir, f.Label)
	switch {
	case errors.Is(err, os.ErrNotExist):
		return "is not there"
	case err != nil:
		return "cannot be read: " + err.Error()
	case now.SHA256 != f.SHA256 || now.Size != f.Size:
		return fmt.Sprintf("is another file today (%s…)", now.SHA256[:12])
	}
	return ""
}

// Look reads a file below dir now, from the disk and never from a cache, and
// returns its digest and size. A name that is kept on disk in another Unicode
// form than records use is found all the same.
func Look(dir *os.Root, label string) (File, error) {
	f, err := dir.Open(filepath.FromSlash(label))
	if errors.Is(err, os.ErrNotExist) {
		if other, ok := otherForm(dir, label); ok {
			f, err = dir.Open(other)
		}
	}
	if err != nil {
		return File{}, err
	}
	defer f.Close()
	h := sha256.New()
	n, err := io.Copy(h, f)
	return File{SHA256: hex.EncodeToString(h.Sum(nil)), Size: n, Label: Tidy(label)}, err
}

// otherForm finds a file whose path differs from label only in Unicode form.
func otherForm(dir *os.Root, label string) (string, bool) {
	at := "."
	for _, want := range strings.Split(path.Clean(label), "/") {
		d, err := dir.Open(at)
		if err != nil {
			return "", false
		}
		names, _ := d.Readdirnames(-1)
		d.Close()
		i := slices.IndexFunc(names, func(n string) bool { return norm.NFC.String(n) == norm.NFC.String(want) })
		if i < 0 {
			return "", false
		}
		at = filepath.Join(at, names[i])
	}
	return at, true
}

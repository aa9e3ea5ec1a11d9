// Package bag is the step that packs what goes to the factory: masters, cut
// pieces, the inspection sheet, the trail, the measures of every stage and a
// plain-text note, in a bag that any BagIt tool can check.
package bag

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"path"
	"slices"
	"strings"

	"layette/engine/step"
	"layette/steps/internal/bagit"
	"layette/steps/internal/factory"
)

// Kind is the step.
type Kind struct{}

// Handbook implements step.Kind.
func (Kind) Handbook() step.Handbook {
	return step.Handbook{
		Name:    "bag",
		Version: 2,
		Summary: "Packs what goes to the factory into a bag that anybody can check.",
		Method: "The bag's payload holds masters/, pieces/, accounts/ (each stage's measures, gates and signatures as JSON), " +
			"papers/ (the factory sheet, the inspection sheet and the trail), other/ and NOTE.txt, which says in plain words what the factory must " +
			"know. Files are packed byte for byte under a name made of their part and stage; two files of one name are refused. " +
			"Nothing in the bag depends on the day it was packed, so packing the same again gives the same bag.\n\n" +
			"To check it without this program: `sha256sum -c manifest-sha256.txt` in the bag's folder, or any BagIt tool.",
		Sources: []string{"RFC 8493, The BagIt File Packaging Format (V1.0), 2018"},
		Cautions: []string{
			"Whether the finished toy meets the law where it is sold is for an accredited laboratory to say.",
			"Send a child's likeness only as the guardians agreed in writing.",
		},
		Inputs: []step.Input{
			{Name: "masters", Kind: step.Surface, Many: true, Named: true, Doc: "the surfaces that moulds are made from"},
			{Name: "pieces", Kind: step.Surface, Many: true, Optional: true, Named: true, Doc: "cut pieces for test prints"},
			{Name: "accounts", Kind: step.Rows, Many: true, Optional: true, Named: true, Doc: "the accounts of the stages before"},
			{Name: "sheet", Kind: step.Text, Optional: true, Named: true, Doc: "the inspection sheet"},
			{Name: "factory-sheet", Kind: step.Any, Many: true, Optional: true, Named: true, Doc: "the factory's sheet, page and print, as it was approved"},
			{Name: "trail", Kind: step.Text, Optional: true, Named: true, Doc: "the trail, trail.txt"},
			{Name: "other", Kind: step.Any, Many: true, Optional: true, Named: true, Doc: "drawings, photographs, the seal"},
		},
		Values: append([]step.Value{{Name: "name", Type: step.String, Default: "for-the-factory", Doc: "name of the bag's folder"}}, factory.Values()...),
		Measures: []step.Measure{
			{Name: "files", Type: step.Count, Doc: "files in the payload"},
			{Name: "bytes", Type: step.Count, Doc: "their size"},
			{Name: "masters", Type: step.Count, Doc: "masters packed"},
			{Name: "concessions", Type: step.Count, Doc: "gates that did not hold and were conceded"},
		},
		Outputs: []step.Output{{Name: "bag", Kind: step.Any, Many: true, Doc: "the bag's folder"}},
	}
}

// Check implements step.Checker.
func (Kind) Check(values step.Values) []step.Complaint {
	name, _ := values["name"].(string)
	if name != "" && fit(name) {
		return nil
	}
	return []step.Complaint{{
		Value: "name", Says: fmt.Sprintf("%q cannot be a folder's name everywhere", name),
		Hint: "use letters, digits, full stops, - and _",
	}}
}

// fit reports whether name can be a file's name on any machine.
func fit(name string) bool {
	plain := strings.Trim(name, "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-_.") == ""
	return plain && strings.Trim(name, ".") != ""
}

// packer gathers a bag.
type packer struct {
	job   *step.Job
	root  string
	files []bagit.File
	taken map[string]string // path -> where it came from
	errs  []error
}

// Run implements step.Kind.
func (Kind) Run(ctx context.Context, job *step.Job) (*step.Outcome, error) {
	p := &packer{job: job, root: job.Values.Text("name"), taken: map[string]string{}}
	if len(job.Inputs["masters"]) == 0 {
		return nil, errors.New("there are no masters to pack")
	}
	accounts, err := readAccounts(job.Inputs["accounts"])
	if err != nil {
		return nil, err
	}
	for _, in := range []struct{ input, folder string }{
		{"masters", "masters"}, {"pieces", "pieces"}, {"accounts", "accounts"},
		{"sheet", "papers"}, {"factory-sheet", "papers"}, {"trail", "papers"}, {"other", "other"},
	} {
		for _, f := range job.Inputs[in.input] {
			if ctx.Err() != nil {
				return nil, context.Cause(ctx)
			}
			p.pass("data/"+in.folder+"/"+label(in.input, f), f)
		}
	}
	p.write("data/NOTE.txt", note(job, accounts))
	payload := slices.Clone(p.files)
	p.write(bagit.DeclarationFile, []byte(bagit.Declaration))
	p.write(bagit.InfoFile, info(job.Values, payload).Bytes())
	p.write(bagit.ManifestFile, bagit.Manifest(payload))
	p.write(bagit.TagManifestFile, bagit.Manifest(p.files[len(payload):]))
	if err := errors.Join(p.errs...); err != nil {
		return nil, err
	}
	return outcome(job, payload, accounts), nil
}

// label names a file in the bag: part, then stage where it tells more, then
// the file's own name.
func label(input string, f step.File) string {
	base := path.Base(f.Name)
	switch {
	case input == "accounts":
		return strings.Join(slices.DeleteFunc([]string{f.Stage, f.Part, f.Scan}, func(s string) bool { return s == "" }), "-") + ".json"
	case input == "sheet", input == "trail", input == "other" && f.Part == "", f.Part == "":
		return base
	case strings.HasPrefix(base, f.Part):
		return base
	}
	return f.Part + "-" + base
}

// claim takes a path of the bag for a file, once.
func (p *packer) claim(name, from string) bool {
	key := strings.ToLower(name) // some disks do not tell A from a
	if other, taken := p.taken[key]; taken {
		p.errs = append(p.errs, fmt.Errorf("two files would be %s in the bag: %s and %s; give one another name", name, other, from))
		return false
	}
	p.taken[key] = from
	return true
}

func (p *packer) pass(name string, f step.File) {
	from := strings.TrimPrefix(f.Stage+"/"+f.Name, "/")
	if !p.claim(name, from) {
		return
	}
	p.files = append(p.files, bagit.File{Path: name, SHA256: f.SHA256, Size: f.Size})
	f.Name = p.root + "/" + name
	if err := p.job.Pass("bag", f); err != nil {
		p.errs = append(p.errs, fmt.Errorf("%s: %w", from, err))
	}
}

func (p *packer) write(name string, data []byte) {
	sum := sha256.Sum256(data)
	p.files = append(p.files, bagit.File{Path: name, SHA256: hex.EncodeToString(sum[:]), Size: int64(len(data))})
	w, err := p.job.Create("bag", p.root+"/"+name)
	if err != nil {
		p.errs = append(p.errs, err)
		return
	}
	_, err = w.Write(data)
	p.errs = append(p.errs, err, w.Close())
}

func info(values step.Values, payload []bagit.File) bagit.Info {
	in := bagit.Info{}
	for _, l := range []struct{ label, value string }{
		{"Source-Organization", "studio"}, {"Contact-Name", "contact"}, {"External-Description", "title"},
	} {
		if values.Has(l.value) {
			in = append(in, bagit.Label{Name: l.label, Value: values.Text(l.value)})
		}
	}
	return append(in, bagit.Label{Name: "Payload-Oxum", Value: bagit.Oxum(payload)})
}

// An account of a stage with some thousand spots takes well under a megabyte.
const largestAccount = 16 << 20

func readAccounts(files []step.File) ([]step.Account, error) {
	var accounts []step.Account
	for _, f := range files {
		var a step.Account
		if err := readJSON(f, &a); err != nil {
			return nil, fmt.Errorf("account %s: %w", f.Name, err)
		}
		accounts = append(accounts, a)
	}
	return accounts, nil
}

func readJSON(f step.File, into any) error {
	if f.Size > largestAccount {
		return fmt.Errorf("%d bytes are too many for an account", f.Size)
	}
	r, err := f.Open()
	if err != nil {
		return err
	}
	defer r.Close()
	data, err := io.ReadAll(io.LimitReader(r, largestAccount))
	if err != nil {
		return err
	}
	return json.Unmarshal(data, into)
}

func outcome(job *step.Job, payload []bagit.File, accounts []step.Account) *step.Outcome {
	var bytes int64
	for _, f := range payload {
		bytes += f.Size
	}
	return &step.Outcome{
		Measures: map[string]any{
			"files": int64(len(payload)), "bytes": bytes,
			"masters": int64(len(job.Inputs["masters"])), "concessions": int64(len(conceded(accounts))),
		},
		Notes: []string{"Check it anywhere with: sha256sum -c manifest-sha256.txt (in the folder " + job.Values.Text("name") + ")."},
	}
}

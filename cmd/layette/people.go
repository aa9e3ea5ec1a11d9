package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"

	"github.com/spf13/cobra"
	"golang.org/x/crypto/ssh"

	"layette/engine/trail"
)

func newPeopleCmd(a *app) *cobra.Command {
	var asJSON bool
	cmd := &cobra.Command{
		Use:   "people",
		Short: "List who may sign, enrol people and their keys, retire keys",
		Args:  cobra.NoArgs,
		RunE: func(*cobra.Command, []string) error {
			_, t, err := a.openTrail("")
			if err != nil {
				return err
			}
			if asJSON {
				return writeJSON(a.stdout, t.People())
			}
			a.showPeople(t)
			return a.damage(t)
		},
	}
	cmd.Flags().BoolVar(&asJSON, "json", false, "print as JSON")
	cmd.AddCommand(newEnrolCmd(a), newRetireCmd(a))
	return cmd
}

func (a *app) showPeople(t *trail.Trail) {
	if t.Empty() {
		fmt.Fprintln(a.stdout, "nobody is enrolled yet; the first one opens the trail as its owner:\n  layette people add NAME --printed \"FULL NAME\" --role ROLE --key FILE")
	}
	for _, m := range t.People() {
		roles := strings.Join(m.Roles, ", ")
		if m.Owner {
			roles = strings.TrimPrefix(roles+", owner of the trail", ", ")
		}
		fmt.Fprintf(a.stdout, "%s  %s  %s\n", m.Name, m.Printed, roles)
		for _, k := range m.Keys {
			state := "may sign"
			if k.Retired != "" {
				state = "retired: " + k.Retired
			}
			fmt.Fprintf(a.stdout, "  %s  %s\n", k.Fingerprint, state)
		}
	}
}

// An enrolment is a person as the flags give it.
type enrolment struct {
	printed, key, make, as string
	public                 string // of a person enrolled already: a key she has
	roles                  []string
	yes                    bool
}

func newEnrolCmd(a *app) *cobra.Command {
	e := &enrolment{}
	cmd := &cobra.Command{
		Use:   "add NAME --printed \"FULL NAME\" --role ROLE --key FILE",
		Short: "Enrol a person, a further key of hers, or other roles",
		Long: `Enrol a person, a further key of hers, or other roles. The first one opens the
trail and is its owner; later ones are enrolled by the owner, who signs for
knowing that the key is that person's.

--key is the person's public key file (.pub). With --make FILE a new key is
made and written there, shut with a passphrase; give the file to the person
and keep no copy.

` + keyHelp,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error { return a.enrol(cmd.Context(), e, args[0]) },
	}
	f := cmd.Flags()
	f.StringVar(&e.printed, "printed", "", "the `name` as it is printed beside signatures")
	f.StringArrayVar(&e.roles, "role", nil, "what the person may sign for; may be given often")
	f.StringVar(&e.key, "key", "", "the person's key `file`")
	f.StringVar(&e.make, "make", "", "make a key and write it to this `file`")
	f.StringVar(&e.as, "as", "", "sign with this key `file` (the owner's)")
	f.BoolVar(&e.yes, "yes", false, "do not ask before signing (for scripts)")
	cmd.MarkFlagsMutuallyExclusive("key", "make")
	return cmd
}

func (a *app) enrol(ctx context.Context, e *enrolment, name string) error {
	dir, t, err := a.openTrail("")
	if err != nil {
		return err
	}
	e.keep(t, name)
	if e.printed == "" {
		return usage(errors.New("how is the name printed?"), `--printed "FULL NAME"`)
	}
	if e.key == "" && e.make == "" && e.public == "" {
		return usage(errors.New("which key?"), "--key FILE.pub, or --make FILE for a person who has none")
	}
	if t.Empty() {
		return a.openAsOwner(ctx, t, e, name, dir)
	}
	owner, who, done, err := a.person(t, e.as)
	if err != nil {
		return err
	}
	defer done()
	key, err := a.keyOf(e, name)
	if err != nil {
		return err
	}
	d := trail.Draft{Kind: trail.Person, Name: name, Printed: e.printed, Roles: e.roles, Public: trail.PublicText(key),
		Meaning: "I know this key to be this person's and give these roles", Tool: "layette " + version()}
	fmt.Fprintf(a.stdout, "%s, %s, as %s\n  key      %s\n  meaning  %s\n", name, e.printed, orNone(e.roles), trail.Fingerprint(key), d.Meaning)
	if !e.yes {
		if err := a.agree(fmt.Sprintf("Sign this as %s?", who.Printed)); err != nil {
			return err
		}
	}
	return a.enrolled(t.Append(ctx, d, owner))
}

// keep fills in what is known of a person already enrolled: a further key
// leaves the roles as they are, other roles leave the key as it is.
func (e *enrolment) keep(t *trail.Trail, name string) {
	for _, m := range t.People() {
		if m.Name != name {
			continue
		}
		e.printed = cmp.Or(e.printed, m.Printed)
		if len(e.roles) == 0 {
			e.roles = m.Roles
		}
		for _, k := range m.Keys {
			if k.Retired == "" {
				e.public = k.Public
			}
		}
	}
}

func orNone(roles []string) string {
	if len(roles) == 0 {
		return "nothing in particular"
	}
	return strings.Join(roles, ", ")
}

// keyOf reads, or makes, the key of a person to be enrolled.
func (a *app) keyOf(e *enrolment, name string) (ssh.PublicKey, error) {
	if e.make != "" {
		k, err := a.makeKey(e.make, name)
		if err != nil {
			return nil, err
		}
		return k.PublicKey(), nil
	}
	if e.key == "" {
		key, _, err := trail.PublicKey(e.public)
		return key, err
	}
	file := a.path(e.key)
	if !strings.HasSuffix(file, ".pub") {
		file += ".pub"
	}
	return publicOf(file)
}

func (a *app) makeKey(file, name string) (ssh.Signer, error) {
	pass, err := a.secret("a passphrase for the new key of " + name)
	if err != nil {
		return nil, err
	}
	again, err := a.secret("once more")
	if err != nil {
		return nil, err
	}
	if string(pass) != string(again) {
		return nil, errors.New("the two differ: no key was made")
	}
	if len(pass) == 0 {
		fmt.Fprintln(a.stderr, "note: without a passphrase whoever can read the file can sign with it")
	}
	return trail.MakeKey(a.path(file), name, pass)
}

// openAsOwner opens the trail: the first person is its owner.
func (a *app) openAsOwner(ctx context.Context, t *trail.Trail, e *enrolment, name, dir string) error {
	key, done, err := a.ownerKey(e, name)
	if err != nil {
		return err
	}
	defer done()
	d := trail.Draft{Kind: trail.Opening, Trail: trailName(dir), Name: name, Printed: e.printed, Roles: e.roles,
		Public: trail.PublicText(key.PublicKey()), Meaning: "I open this trail and answer for the people in it", Tool: "layette " + version()}
	fmt.Fprintf(a.stdout, "trail %s, owner %s, %s, as %s\n  key      %s\n  meaning  %s\n", d.Trail, name, e.printed, orNone(e.roles), trail.Fingerprint(key.PublicKey()), d.Meaning)
	if !e.yes {
		if err := a.agree(fmt.Sprintf("Open the trail as %s?", e.printed)); err != nil {
			return err
		}
	}
	if err := a.enrolled(t.Append(ctx, d, key)); err != nil {
		return err
	}
	fmt.Fprintf(a.stdout, "keep this on paper: owner's key %s\n", trail.Fingerprint(key.PublicKey()))
	return mergeByLines(dir)
}

func (a *app) ownerKey(e *enrolment, name string) (ssh.Signer, func(), error) {
	if e.make != "" {
		k, err := a.makeKey(e.make, name)
		return k, func() {}, err
	}
	return a.namedKey(a.path(e.key), a.secret)
}

func (a *app) enrolled(r trail.Record, err error) error {
	if err != nil {
		return unsigned(err)
	}
	fmt.Fprintf(a.stdout, "enrolled %s, record %s\n", r.Printed, r.ID.Short())
	return nil
}

var notInNames = regexp.MustCompile(`[^A-Za-z0-9._-]+`)

// trailName is the model's folder's name in the letters of a trail's name.
func trailName(dir string) string {
	name := strings.Trim(notInNames.ReplaceAllString(filepath.Base(dir), "-"), "-._")
	if name == "" {
		return "model"
	}
	return name[:min(len(name), 100)]
}

// mergeByLines writes the .gitattributes that a trail needs, unless there is one.
func mergeByLines(dir string) error {
	f, err := os.OpenFile(filepath.Join(dir, ".gitattributes"), os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o644)
	if errors.Is(err, os.ErrExist) {
		return nil
	}
	if err != nil {
		return err
	}
	_, err = f.WriteString(trail.GitAttributes)
	return errors.Join(err, f.Close())
}

func newRetireCmd(a *app) *cobra.Command {
	var reason, as, fingerprint string
	var yes bool
	cmd := &cobra.Command{
		Use:   "retire NAME --reason WHY",
		Short: "End a person's keys: what they signed stays, they sign nothing more",
		Args:  cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			if reason == "" {
				return usage(errors.New("why?"), `--reason "…"`)
			}
			_, t, err := a.openTrail("")
			if err != nil {
				return err
			}
			d, err := retirement(t, args[0], fingerprint, reason)
			if err != nil {
				return err
			}
			key, who, done, err := a.person(t, as)
			if err != nil {
				return err
			}
			defer done()
			fmt.Fprintf(a.stdout, "retire %s\n  %s\n", d.Printed, strings.Join(d.Keys, "\n  "))
			if !yes {
				if err := a.agree(fmt.Sprintf("Sign this as %s?", who.Printed)); err != nil {
					return err
				}
			}
			if _, err := t.Append(cmd.Context(), d, key); err != nil {
				return unsigned(err)
			}
			fmt.Fprintf(a.stdout, "retired %s\n", d.Printed)
			return nil
		},
	}
	f := cmd.Flags()
	f.StringVar(&reason, "reason", "", "why")
	f.StringVar(&fingerprint, "fingerprint", "", "only the key of this `fingerprint`")
	f.StringVar(&as, "as", "", "sign with this key `file` (the owner's)")
	f.BoolVar(&yes, "yes", false, "do not ask before signing (for scripts)")
	return cmd
}

func retirement(t *trail.Trail, name, fingerprint, reason string) (trail.Draft, error) {
	d := trail.Draft{Kind: trail.Retire, Name: name, Reason: reason, Meaning: "I end these keys", Tool: "layette " + version()}
	people := t.People()
	i := slices.IndexFunc(people, func(m trail.Member) bool { return m.Name == name })
	if i < 0 {
		return d, usage(fmt.Errorf("nobody is enrolled as %q", name), "layette people lists them")
	}
	d.Printed = people[i].Printed
	for _, k := range people[i].Keys {
		if k.Retired == "" && (fingerprint == "" || fingerprint == k.Fingerprint) {
			d.Keys = append(d.Keys, k.Fingerprint)
		}
	}
	if len(d.Keys) == 0 {
		return d, usage(fmt.Errorf("%s has no such key that may still sign", d.Printed), "layette people lists them")
	}
	return d, nil
}

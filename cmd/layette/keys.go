package main

import (
	"errors"
	"fmt"
	"net"
	"os"
	"path/filepath"
	"strings"

	"golang.org/x/crypto/ssh"
	"golang.org/x/crypto/ssh/agent"

	"layette/engine/trail"
)

// keyHelp says where a person's key is looked for.
const keyHelp = `Your key is the one that --as or LAYETTE_KEY names (a private key file, or a
.pub file whose key your agent holds); else an enrolled key of your agent, else
an enrolled one of ~/.ssh/id_ed25519, id_ecdsa and id_rsa.`

// signer returns the key of the person who signs, and a function that lets the
// agent go. Without a name it is the one key at hand that the trail knows.
func (a *app) signer(t *trail.Trail, name string) (ssh.Signer, func(), error) {
	if name == "" {
		name = a.env("LAYETTE_KEY")
	}
	if name != "" {
		return a.namedKey(a.path(name), a.secret)
	}
	held, done := a.agentKeys()
	var fit []ssh.Signer
	for _, k := range held {
		if a.maySign(t, trail.Fingerprint(k.PublicKey())) {
			fit = append(fit, k)
		}
	}
	if len(fit) == 1 {
		return fit[0], done, nil
	}
	defer done()
	if len(fit) > 1 {
		return nil, nil, usage(errors.New("your agent holds several keys that this trail knows"), "name yours: --as FILE.pub")
	}
	for _, file := range a.usualKeys() {
		if public, err := publicBeside(file); err == nil && a.maySign(t, trail.Fingerprint(public)) {
			k, err := trail.ReadKey(file, a.secret)
			return k, func() {}, err
		}
	}
	return nil, nil, usage(errors.New("no key of yours that this trail knows is at hand"), "name it: --as FILE; whom the trail knows: layette people")
}

func (a *app) maySign(t *trail.Trail, fingerprint string) bool {
	m, ok := t.Who(fingerprint)
	for _, k := range m.Keys {
		if ok && k.Fingerprint == fingerprint && k.Retired == "" {
			return true
		}
	}
	return false
}

// namedKey reads a private key, or finds a public one in the agent. ask is
// called for a passphrase.
func (a *app) namedKey(file string, ask func(what string) ([]byte, error)) (ssh.Signer, func(), error) {
	if !strings.HasSuffix(file, ".pub") {
		k, err := trail.ReadKey(file, ask)
		return k, func() {}, err
	}
	public, err := publicOf(file)
	if err != nil {
		return nil, nil, err
	}
	return a.heldKey(trail.Fingerprint(public), file)
}

// heldKey finds a key in the agent.
func (a *app) heldKey(fingerprint, called string) (ssh.Signer, func(), error) {
	held, done := a.agentKeys()
	for _, k := range held {
		if trail.Fingerprint(k.PublicKey()) == fingerprint {
			return k, done, nil
		}
	}
	done()
	return nil, nil, usage(fmt.Errorf("your agent does not hold the key of %s", called), "add it with ssh-add, or name the private key file")
}

// agentKeys returns the keys that the person's agent holds.
func (a *app) agentKeys() ([]ssh.Signer, func()) {
	socket := a.env("SSH_AUTH_SOCK")
	if socket == "" {
		return nil, func() {}
	}
	conn, err := net.Dial("unix", socket)
	if err != nil {
		return nil, func() {} // an agent that is not there holds nothing
	}
	keys, err := agent.NewClient(conn).Signers()
	if err != nil {
		keys = nil
	}
	return keys, func() { conn.Close() }
}

func (a *app) usualKeys() []string {
	home := a.env("HOME")
	if home == "" {
		home, _ = os.UserHomeDir()
	}
	var list []string
	for _, name := range []string{"id_ed25519", "id_ecdsa", "id_rsa"} {
		list = append(list, filepath.Join(home, ".ssh", name))
	}
	return list
}

// publicBeside reads the .pub file beside a private key.
func publicBeside(file string) (ssh.PublicKey, error) { return publicOf(file + ".pub") }

func publicOf(file string) (ssh.PublicKey, error) {
	text, err := os.ReadFile(file)
	if err != nil {
		return nil, err
	}
	key, _, err := trail.PublicKey(string(text))
	if err != nil {
		return nil, fmt.Errorf("%s: %w", file, err)
	}
	return key, nil
}

// path is a file's path as the person typed it, from where she is.
func (a *app) path(name string) string {
	if filepath.IsAbs(name) {
		return name
	}
	return filepath.Join(a.dir, name)
}

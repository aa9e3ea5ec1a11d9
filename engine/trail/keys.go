package trail

import (
	"bytes"
	"crypto/ed25519"
	"crypto/rand"
	"encoding/pem"
	"errors"
	"fmt"
	"os"
	"strings"

	"golang.org/x/crypto/ssh"
)

// Fingerprint returns a public key's fingerprint as ssh-keygen prints it.
func Fingerprint(key ssh.PublicKey) string { return ssh.FingerprintSHA256(key) }

// ReadKey reads a private key file of OpenSSH or PEM form. ask is called for
// the passphrase if the key has one; it may be nil.
func ReadKey(path string, ask func(what string) ([]byte, error)) (ssh.Signer, error) {
	text, err := os.ReadFile(path)
	if err != nil {
		return nil, err
	}
	key, err := ssh.ParsePrivateKey(text)
	if _, locked := errors.AsType[*ssh.PassphraseMissingError](err); locked && ask != nil {
		pass, askErr := ask("passphrase of " + path)
		if askErr != nil {
			return nil, askErr
		}
		key, err = ssh.ParsePrivateKeyWithPassphrase(text, pass)
	}
	if err != nil {
		return nil, fmt.Errorf("%s cannot be used as a private key: %w", path, err)
	}
	if err := allowed(key.PublicKey()); err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	return key, nil
}

// MakeKey makes an Ed25519 key for a person who has none and writes it to path
// (and path.pub), as ssh-keygen would read it; it never replaces a file. An
// empty passphrase leaves the key open to whoever can read the file.
func MakeKey(path, comment string, passphrase []byte) (ssh.Signer, error) {
	_, private, err := ed25519.GenerateKey(rand.Reader)
	if err != nil {
		return nil, err
	}
	var block *pem.Block
	if len(passphrase) > 0 {
		block, err = ssh.MarshalPrivateKeyWithPassphrase(private, comment, passphrase)
	} else {
		block, err = ssh.MarshalPrivateKey(private, comment)
	}
	if err != nil {
		return nil, err
	}
	key, err := ssh.NewSignerFromKey(private)
	if err != nil {
		return nil, err
	}
	if err := writeNew(path, pem.EncodeToMemory(block), 0o600); err != nil {
		return nil, err
	}
	public := bytes.TrimSpace(ssh.MarshalAuthorizedKey(key.PublicKey()))
	return key, writeNew(path+".pub", fmt.Appendf(public, " %s\n", comment), 0o644)
}

// writeNew writes a file that must not be there yet.
func writeNew(path string, data []byte, mode os.FileMode) error {
	f, err := os.OpenFile(path, os.O_CREATE|os.O_EXCL|os.O_WRONLY, mode)
	if err != nil {
		return err
	}
	_, err = f.Write(data)
	return errors.Join(err, f.Sync(), f.Close())
}

// PublicKey reads a public key as it stands in a .pub file, an allowed-keys
// list or a record, and returns it with its text for a record.
func PublicKey(text string) (ssh.PublicKey, string, error) {
	key, _, _, _, err := ssh.ParseAuthorizedKey([]byte(text))
	if err != nil {
		return nil, "", fmt.Errorf("want a public key such as \"ssh-ed25519 AAAA… name\": %w", err)
	}
	return key, PublicText(key), allowed(key)
}

// PublicText returns a public key as records hold it: kind and base64.
func PublicText(key ssh.PublicKey) string {
	return strings.TrimSpace(string(ssh.MarshalAuthorizedKey(key)))
}

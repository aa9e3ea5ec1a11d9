package trail

import (
	"bytes"
	"crypto/rsa"
	"encoding/base64"
	"errors"
	"fmt"
	"math/big"
	"strings"

	"github.com/hiddeco/sshsig"
	"golang.org/x/crypto/ssh"
)

// sigWidth is how many base64 characters stand on one sig line: 57 bytes, so
// that every line but the last is whole.
const sigWidth = 76

// sign returns the sig lines for a record's signed bytes.
func sign(tag string, signed []byte, key ssh.Signer) ([]byte, error) {
	s, err := sshsig.Sign(bytes.NewReader(signed), key, sshsig.HashSHA512, Namespace)
	if err != nil {
		return nil, fmt.Errorf("the key could not sign: %w", err)
	}
	lines := sigLines(tag, s.Marshal())
	_, err = parseSig(tag, lines)
	return lines, err
}

func sigLines(tag string, blob []byte) []byte {
	text := base64.StdEncoding.EncodeToString(blob)
	var b bytes.Buffer
	for len(text) > 0 {
		n := min(sigWidth, len(text))
		b.WriteString(tag + " sig " + text[:n] + "\n")
		text = text[n:]
	}
	return b.Bytes()
}

// parseSig reads sig lines and takes them in one form only: what it returns
// would be written as exactly those lines. The blob has parts that the
// signature does not cover (a reserved string), base64 has idle bits, numbers
// have idle zeros: whoever could alter them could make two copies of a record
// that differ and both hold.
func parseSig(tag string, lines []byte) (*sshsig.Signature, error) {
	var text strings.Builder
	for line := range bytes.Lines(lines) {
		text.Write(bytes.TrimSuffix(bytes.TrimPrefix(line, []byte(tag+" sig ")), []byte("\n")))
	}
	blob, err := base64.StdEncoding.Strict().DecodeString(text.String())
	if err != nil {
		return nil, errors.New("its signature is not base64")
	}
	s, err := sshsig.ParseSignature(blob)
	if err != nil {
		return nil, fmt.Errorf("its signature cannot be read: %w", err)
	}
	switch {
	case !bytes.Equal(s.Marshal(), blob), !bytes.Equal(sigLines(tag, blob), lines):
		return nil, errors.New("its signature is not in its only form")
	case s.HashAlgorithm != sshsig.HashSHA512:
		return nil, fmt.Errorf("its signature uses %s; sha512 is wanted", clip(string(s.HashAlgorithm)))
	}
	if err := allowed(s.PublicKey); err != nil {
		return nil, err
	}
	return s, exact(s.PublicKey, s.Signature)
}

// verify checks that r's sig lines are a signature of its signed lines by the
// key whose fingerprint they give.
func (r *Record) verify() error {
	s, err := parseSig(r.Tag, r.sig)
	if err != nil {
		return err
	}
	if Fingerprint(s.PublicKey) != r.Key {
		return errors.New("it was signed by another key than it says")
	}
	if err := sshsig.Verify(bytes.NewReader(r.lines), s, s.PublicKey, sshsig.HashSHA512, Namespace); err != nil {
		return fmt.Errorf("its signature does not fit its text: %w", err)
	}
	return nil
}

// The kinds of key that may sign. Hardware keys sign through an agent; their
// signatures hold only with the "user present" flag, which x/crypto demands.
var keyTypes = map[string]string{
	ssh.KeyAlgoED25519:    ssh.KeyAlgoED25519,
	ssh.KeyAlgoRSA:        ssh.KeyAlgoRSASHA512,
	ssh.KeyAlgoECDSA256:   ssh.KeyAlgoECDSA256,
	ssh.KeyAlgoECDSA384:   ssh.KeyAlgoECDSA384,
	ssh.KeyAlgoECDSA521:   ssh.KeyAlgoECDSA521,
	ssh.KeyAlgoSKED25519:  ssh.KeyAlgoSKED25519,
	ssh.KeyAlgoSKECDSA256: ssh.KeyAlgoSKECDSA256,
}

// allowed says whether a key of this kind and size may sign.
func allowed(key ssh.PublicKey) error {
	if keyTypes[key.Type()] == "" {
		return fmt.Errorf("keys of kind %s cannot sign here; use Ed25519, ECDSA or RSA", clip(key.Type()))
	}
	if n := rsaBits(key); n != 0 && (n < 2048 || n > 8192) {
		return fmt.Errorf("an RSA key must have 2048 to 8192 bits, not %d", n)
	}
	return nil
}

func rsaBits(key ssh.PublicKey) int {
	if c, ok := key.(ssh.CryptoPublicKey); ok {
		if k, ok := c.CryptoPublicKey().(*rsa.PublicKey); ok {
			return k.N.BitLen()
		}
	}
	return 0
}

// exact refuses signatures that a lenient reader would take in several forms.
func exact(key ssh.PublicKey, s *ssh.Signature) error {
	kind := key.Type()
	rest, fits := 0, true
	switch kind {
	case ssh.KeyAlgoED25519:
		fits = len(s.Blob) == 64
	case ssh.KeyAlgoSKED25519:
		fits, rest = len(s.Blob) == 64, 5 // flags, counter
	case ssh.KeyAlgoRSA:
		fits = len(s.Blob) == (rsaBits(key)+7)/8
	case ssh.KeyAlgoSKECDSA256:
		fits, rest = pair(s.Blob), 5
	default:
		fits = pair(s.Blob)
	}
	if s.Format != keyTypes[kind] || !fits || len(s.Rest) != rest {
		return fmt.Errorf("its signature is not in its only form for a key of kind %s", kind)
	}
	return nil
}

// pair reports whether b is two numbers, each in its shortest form.
func pair(b []byte) bool {
	var rs struct{ R, S *big.Int }
	return ssh.Unmarshal(b, &rs) == nil && rs.R.Sign() > 0 && rs.S.Sign() > 0 && bytes.Equal(ssh.Marshal(rs), b)
}

// parsePublic reads a public key as records hold it: kind and base64, in one
// form only, no comment.
func parsePublic(s string) (ssh.PublicKey, error) {
	kind, text, _ := strings.Cut(s, " ")
	blob, err := base64.StdEncoding.Strict().DecodeString(text)
	if err != nil || len(text) > longestText {
		return nil, errors.New("want its kind and its base64, nothing more")
	}
	key, err := ssh.ParsePublicKey(blob)
	if err != nil {
		return nil, err
	}
	if key.Type() != kind || !bytes.Equal(key.Marshal(), blob) || strings.ContainsAny(text, "\r\n") {
		return nil, errors.New("it is not in its only form")
	}
	return key, allowed(key)
}

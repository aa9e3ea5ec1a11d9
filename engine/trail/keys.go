package trail

import "golang.org/x/crypto/ssh"

// Fingerprint returns a public key's fingerprint as ssh-keygen prints it.
func Fingerprint(key ssh.PublicKey) string { return ssh.FingerprintSHA256(key) }

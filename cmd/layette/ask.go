package main

import (
	"errors"
	"fmt"
	"io"
	"os"
	"strings"

	"golang.org/x/term"
)

// ask prints a question on stderr and reads one line.
func (a *app) ask(question string) (string, error) {
	fmt.Fprintf(a.stderr, "%s ", question)
	return a.line()
}

// line reads one line, and not a byte more: what follows may be for another
// question.
func (a *app) line() (string, error) {
	var text []byte
	one := make([]byte, 1)
	for len(text) < 4096 {
		n, err := a.stdin.Read(one)
		if n == 1 && one[0] == '\n' {
			return strings.TrimSpace(string(text)), nil
		}
		text = append(text, one[:n]...)
		if err != nil {
			if errors.Is(err, io.EOF) && len(text) > 0 {
				return strings.TrimSpace(string(text)), nil
			}
			return "", failed(exitWaits, errors.New("nobody answered"), "answer, or say --yes in a script")
		}
	}
	return "", errors.New("the answer is longer than 4,096 bytes")
}

// agree asks for a plain yes.
func (a *app) agree(question string) error {
	said, err := a.ask(question + " (yes/no)")
	if err != nil {
		return err
	}
	if said != "yes" {
		return failed(exitWaits, errors.New("nothing was signed"), "")
	}
	return nil
}

// secret asks for a passphrase; at a terminal it is not shown.
func (a *app) secret(what string) ([]byte, error) {
	if f, ok := a.stdin.(*os.File); ok && term.IsTerminal(int(f.Fd())) {
		fmt.Fprintf(a.stderr, "%s: ", what)
		defer fmt.Fprintln(a.stderr)
		return term.ReadPassword(int(f.Fd()))
	}
	said, err := a.ask(what + ":")
	return []byte(said), err
}

// takeLock asks whether to take over a lock that another writer seems to have
// left behind.
func (a *app) takeLock(holder string) bool {
	return a.agree("the trail is locked by "+holder+"; nobody has touched that for long. Take it over?") == nil
}

//go:build !linux

package store

import (
	"errors"
	"os"
)

func cloneFile(to, from *os.File) error { return errors.ErrUnsupported }

//go:build !linux

package store

import "io/fs"

// StampOf takes the stamp from what the system says of a file.
func StampOf(info fs.FileInfo) Stamp {
	return Stamp{Size: info.Size(), MTime: info.ModTime().UnixNano()}
}

package store

import (
	"io/fs"
	"syscall"
)

// StampOf takes the stamp from what the system says of a file.
func StampOf(info fs.FileInfo) Stamp {
	s := Stamp{Size: info.Size(), MTime: info.ModTime().UnixNano()}
	if sys, ok := info.Sys().(*syscall.Stat_t); ok {
		s.CTime, s.Inode = sys.Ctim.Nano(), sys.Ino
	}
	return s
}

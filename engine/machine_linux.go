package engine

import "golang.org/x/sys/unix"

// halfOfMemory is half of the machine's memory, in bytes.
func halfOfMemory() int64 {
	var info unix.Sysinfo_t
	if unix.Sysinfo(&info) != nil {
		return usualMemory
	}
	return int64(info.Totalram) * int64(info.Unit) / 2
}

const usualMemory = 4 << 30

// alive reports whether a process of this machine still runs.
func alive(process int) bool { return unix.Kill(process, 0) != unix.ESRCH }

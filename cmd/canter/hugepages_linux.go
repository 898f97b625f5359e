package main

import (
	"runtime"

	"golang.org/x/sys/unix"
)

// hugePages asks the kernel to back the first size bytes of the heap with huge
// pages. Most kernels give them only to who asks, and the runtime does not. A
// page that is touched for the first time is a trap into the kernel, on machines
// without paging of their own also one into the host: 23 µs each on the one in
// deploy/SPEED.md, a tenth of what loading 2,000 files costs, and a fifth of
// the start. Where there are none to be had nothing changes.
//
// What the runtime got from the system for one large object it uses for small
// ones when that is gone; the pages stay what they are.
func hugePages(size int) {
	b := make([]byte, size) // of new memory, so that nothing of it is touched here
	_ = unix.Madvise(b, unix.MADV_HUGEPAGE)
	runtime.KeepAlive(b)
	b = nil //nolint:ineffassign,wastedassign // for the collection that follows
	runtime.GC()
}

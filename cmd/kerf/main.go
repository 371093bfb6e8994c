package main

import (
	"os"
	"runtime"
	"runtime/debug"
)

// collectPercent lets the garbage collector run when the heap has grown by a tenth instead of by
// all of it. Nearly all memory is recordings, which hold no pointers: they cost the collector
// nothing, but twice their size would be needed otherwise.
const collectPercent = 10

// reservedBytes are never touched, so they take address space and no memory; but they count as
// heap, whose tenth is then at least 26 MB. With a small heap the collector would run all the time,
// a seventh of the processor time of the demo.
const reservedBytes = 256 << 20

func main() {
	var reserved []byte
	if os.Getenv("GOGC") == "" {
		reserved = make([]byte, reservedBytes)
		debug.SetGCPercent(collectPercent)
	}
	code := run(os.Args[1:], os.Stdin, os.Stdout, os.Stderr)
	runtime.KeepAlive(reserved)
	exit(code)
}

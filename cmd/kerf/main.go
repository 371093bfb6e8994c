// Command kerf cuts a trained recurrent network down until it fits a
// microcontroller, measures what the cut costs, and hands the result to
// firmware. Run kerf --help.
package main

import (
	"os"
	"runtime/debug"
)

// collectPercent lets the garbage collector run when the heap has grown by a tenth instead of by all of it. Nearly all memory is
// recordings, which hold no pointers: they cost the collector nothing, but twice their size would be needed otherwise.
const collectPercent = 10

func main() {
	if os.Getenv("GOGC") == "" {
		debug.SetGCPercent(collectPercent)
	}
	os.Exit(run(os.Args[1:], os.Stdin, os.Stdout, os.Stderr))
}

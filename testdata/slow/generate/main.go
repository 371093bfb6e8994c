// Command generate writes the slow test job: invented, synthetic, and the same
// on every run.
//
//	go run ./testdata/slow/generate -out DIR [-offset N]
package main

import (
	"flag"
	"log"

	"kerf/testdata/slow"
)

func main() {
	out := flag.String("out", ".", "folder for the files of the job")
	offset := flag.Uint64("offset", 0, "raises all seeds: another network, other recordings")
	flag.Parse()
	if err := slow.Write(*out, *offset); err != nil {
		log.Fatal(err)
	}
}

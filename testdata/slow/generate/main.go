// Command generate writes the slow test job: invented, synthetic, and the same
// on every run.
//
//	go run ./testdata/slow/generate -out DIR
package main

import (
	"flag"
	"log"

	"kerf/testdata/slow"
)

func main() {
	out := flag.String("out", ".", "folder for the files of the job")
	flag.Parse()
	if err := slow.Write(*out); err != nil {
		log.Fatal(err)
	}
}

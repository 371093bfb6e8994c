// Command generate writes the recordings of kerf's demo job: invented,
// synthetic, and the same on every run.
//
//	go run ./testdata/demo/generate -out DIR
package main

import (
	"flag"
	"log"

	"kerf/testdata/demo/plant"
)

func main() {
	out := flag.String("out", ".", "folder for train.csv, selection.csv.gz and signoff.csv.gz")
	flag.Parse()
	if err := plant.Write(*out); err != nil {
		log.Fatal(err)
	}
}

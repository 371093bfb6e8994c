// Command generate writes the jobs of package smallest, one folder each: invented, synthetic, and
// the same on every run.
//
//	go run ./testdata/smallest/generate -out DIR
package main

import (
	"flag"
	"log"
	"path/filepath"

	"kerf/testdata/smallest"
)

func main() {
	out := flag.String("out", ".", "folder for the folders of the jobs")
	flag.Parse()
	for _, job := range smallest.Jobs {
		if err := job.Write(filepath.Join(*out, job.Name)); err != nil {
			log.Fatal(err)
		}
	}
}

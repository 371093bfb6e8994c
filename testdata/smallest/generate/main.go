// Command generate writes the jobs of package smallest, one folder each: invented, synthetic, and
// the same on every run. With -speed it writes the jobs instead whose search is timed.
//
//	go run ./testdata/smallest/generate -out DIR [-speed]
package main

import (
	"flag"
	"log"
	"path/filepath"

	"kerf/testdata/smallest"
)

func main() {
	out := flag.String("out", ".", "folder for the folders of the jobs")
	speed := flag.Bool("speed", false, "write the jobs whose search is timed")
	flag.Parse()
	if *speed {
		for _, job := range smallest.Speeds {
			check(job.Write(filepath.Join(*out, job.Name())))
		}
		return
	}
	for _, job := range smallest.Jobs {
		check(job.Write(filepath.Join(*out, job.Name)))
	}
}

// check ends the program if there is an error.
func check(err error) {
	if err != nil {
		log.Fatal(err)
	}
}

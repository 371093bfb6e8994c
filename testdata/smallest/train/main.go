// Command train makes the networks of package smallest anew, all or those named, and prints the
// held-back loss of their trainings.
//
//	go run ./testdata/smallest/train [NAME...]
//
// It works at the top of the repository and writes into testdata/smallest.
package main

import (
	"context"
	"flag"
	"fmt"
	"log"
	"os"
	"path/filepath"
	"slices"
	"time"

	"kerf/recovery"
	"kerf/testdata/smallest"
)

func main() {
	flag.Parse()
	for _, job := range smallest.Jobs {
		if flag.NArg() > 0 && !slices.Contains(flag.Args(), job.Name) {
			continue
		}
		began := time.Now()
		files, err := job.Train(context.Background(), func(r *recovery.Result) {
			if n := len(r.Epochs); n%10 == 0 {
				e := r.Epochs[n-1]
				fmt.Printf("%s, epoch %d: training %.5f, held back %.5f; best is epoch %d with "+
					"%.5f\n", job.Name, n, e.Training, e.HeldBack, r.Best,
					r.Epochs[max(r.Best, 1)-1].HeldBack)
			}
		})
		if err != nil {
			log.Fatal(err)
		}
		fmt.Printf("%s: %.0f s\n", job.Name, time.Since(began).Seconds())
		for name, content := range files {
			if err := os.WriteFile(filepath.Join("testdata", "smallest", job.Name, name), content,
				0o644); err != nil {
				log.Fatal(err)
			}
		}
	}
}

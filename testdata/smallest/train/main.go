// Command train makes the networks of package smallest anew, all or those named, and prints the
// held-back loss of their trainings. With -compare it leaves them, and prints the table of their
// loss that README.md has.
//
//	go run ./testdata/smallest/train [-compare] [NAME...]
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
	compare := flag.Bool("compare", false, "print the table of the networks' loss, train none anew")
	flag.Parse()
	if *compare {
		fmt.Println("| job | output | std | noise | as given | trained twice as long | " +
			"a third of the units, trained four times as long |\n" +
			"|---|---|---:|---:|---:|---:|---:|")
	}
	for _, job := range smallest.Jobs {
		if flag.NArg() > 0 && !slices.Contains(flag.Args(), job.Name) {
			continue
		}
		work := train
		if *compare {
			work = printRows
		}
		if err := work(job); err != nil {
			log.Fatal(err)
		}
	}
}

// train makes the network of a job and writes its files.
func train(job *smallest.Job) error {
	began := time.Now()
	files, err := job.Train(context.Background(), func(r *recovery.Result) {
		if n := len(r.Epochs); n%10 == 0 {
			e := r.Epochs[n-1]
			fmt.Printf("%s, epoch %d: training %.5f, held back %.5f\n", job.Name, n, e.Training,
				e.HeldBack)
		}
	})
	if err != nil {
		return err
	}
	fmt.Printf("%s: %.0f s\n", job.Name, time.Since(began).Seconds())
	for name, content := range files {
		if err := os.WriteFile(filepath.Join("testdata", "smallest", job.Name, name), content,
			0o644); err != nil {
			return err
		}
	}
	return nil
}

// printRows prints the rows of a job in the table of losses.
func printRows(job *smallest.Job) error {
	rows, err := job.Compare(context.Background())
	if err != nil {
		return err
	}
	for _, r := range rows {
		if r.Unit == "" {
			fmt.Printf("| %s | %s, right | | %.1f %% | %.1f %% | %.1f %% | %.1f %% |\n", job.Name,
				r.Output, 100*r.Noise, 100*r.Given, 100*r.Longer, 100*r.Third)
			continue
		}
		fmt.Printf("| %s | %s, %s | %.4g | %.4g | %.4g | %.4g | %.4g |\n", job.Name, r.Output,
			r.Unit, r.Std, r.Noise, r.Given, r.Longer, r.Third)
	}
	return nil
}

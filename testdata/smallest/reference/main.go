// Command reference finds the smallest network that does each of some jobs, by more work than kerf
// plan spends: for every number of units the network that kerf takes of so many, with [recovery]
// and three seeds. The cheapest in cycles that holds on the selection recordings, with the reserve
// of kerf, is the reference of the job. The sign-off recordings judge it afterwards. README.md of
// the folder above has the figures.
//
//	go run ./testdata/smallest/reference [-seeds N] [-beyond N] [NAME...]
//	go run ./testdata/smallest/reference -compare [NAME...]
//
// Results go to testdata/smallest/reference.json after every run of the search, and a run that
// stands there is not made again: an interrupted program goes on where it was. With -compare it
// prints what kerf plan takes beside these references, as a table. It works at the top of the
// repository.
//
// Files: jobs.go (the jobs), network.go (one search), counts.go (the numbers of units), results.go
// (the file), compare.go (the table).
package main

import (
	"context"
	"flag"
	"fmt"
	"log"
	"os"

	"kerf/budget"
)

const file = "testdata/smallest/reference.json"

func main() {
	compare := flag.Bool("compare", false, "print what kerf plan takes beside the references")
	seeds := flag.Int("seeds", 3, "number of seeds")
	beyond := flag.Int("beyond", -1, "stop so many numbers of units after the least that holds; "+
		"-1 tries all")
	flag.Parse()
	names := flag.Args()
	if len(names) == 0 {
		names = jobNames
	}
	r, err := read(file)
	check(err)
	if *compare {
		check(printComparison(r, names))
		return
	}
	for _, name := range names {
		check(r.find(context.Background(), name, *seeds, *beyond))
	}
}

// find runs the searches of a job that there are no results of.
func (r *results) find(ctx context.Context, name string, seeds, beyond int) error {
	in, err := load(name)
	if err != nil {
		return err
	}
	j := r.of(name)
	if j.Untrained == nil {
		untrained := *in.Job
		untrained.Recovery = nil
		without := *in
		without.Job = &untrained
		if j.Untrained, err = plan(ctx, &without); err != nil {
			return err
		}
	}
	for count := range j.counts(in, beyond) {
		for seed := 1; seed <= seeds; seed++ {
			if j.find(count, seed) != nil {
				continue
			}
			n, err := j.try(ctx, in, count, seed)
			if err != nil {
				return err
			}
			if err := r.write(file); err != nil {
				return err
			}
			fmt.Fprintf(os.Stderr, "%s: %v units, seed %d: %d multiply-accumulates, holds %v, %s, "+
				"%.0f s\n", name, count, seed, n.MACs, n.Holds, n.Origin, n.Seconds)
		}
	}
	return r.write(file)
}

// try searches with a number of units.
func (j *job) try(ctx context.Context, in *budget.Inputs, count []int, seed int) (*network,
	error) {
	limited, err := in.WithUnits(count)
	if err != nil {
		return nil, err
	}
	limited = limited.WithRecovery(nil) // whose rule is a copy
	limited.Job.Recovery.Seed = &seed
	n, err := plan(ctx, limited)
	if err != nil {
		return nil, err
	}
	date, commit, err := today()
	j.add(run{Count: count, Seed: seed, Date: date, Commit: commit, network: *n})
	return n, err
}

// check ends the program if there is an error.
func check(err error) {
	if err != nil {
		log.Fatal(err)
	}
}

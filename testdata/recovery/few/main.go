// Command few measures what recovery training does where there are few recordings. Of the selection
// recordings of a job it keeps 1, 2, 3 or 5 sequences of every scenario, plans without training and
// with [recovery], and compares the two networks on all sign-off recordings, which neither plan
// saw: may the trained network be worse than the one that would have been taken without training?
//
//	go run ./testdata/recovery/few [-draws N] [-first N] [-epochs N] JOB...
//
// The draws were fixed before any result was seen: draw n of a job has the generator PCG(47000, n)
// of Go's math/rand/v2, and the sequences of a smaller number are among those of a larger one. A
// scenario with fewer sequences keeps all of them. The training has its defaults, unless epochs are
// given, and no further recordings. Jobs are without scores.csv, which was made on all selection
// recordings. A job is demo, cityweather or one of testdata/smallest; with /everywhere behind the
// name its tolerances do not hold by scenario. It works at the top of the repository, and prints
// what the table of docs/recovery.md is made of.
package main

import (
	"context"
	"flag"
	"fmt"
	"log"
	"math"
	"os"
	"strings"

	"kerf/budget"
	"kerf/dataset"
)

// perScenario are the numbers of sequences of every scenario that stay.
var perScenario = []int{1, 2, 3, 5}

func main() {
	draws := flag.Int("draws", 3, "number of draws of each number of sequences")
	first := flag.Int("first", 0, "number of the first draw")
	epochs := flag.Int("epochs", 0, "epochs of a training, at most; 0 as kerf takes by itself")
	flag.Parse()
	rule := epochs
	if *epochs == 0 {
		rule = nil
	}
	fmt.Println("| job | sequences per scenario | trained, of draws | multiply-accumulates " +
		"untrained | trained | worst row against untrained | rows worse, of rows | rows that fail untrained, " +
		"trained |\n|---|---:|---|---|---|---|---|---|")
	for _, name := range flag.Args() {
		files, err := filesOf(name)
		check(err)
		for _, n := range perScenario {
			row := tally{}
			for draw := *first; draw < *first+*draws; draw++ {
				in, err := load(name, files, n, uint64(draw))
				check(err)
				p, err := plan(context.Background(), in.WithRecovery(rule))
				check(err)
				fmt.Fprintf(os.Stderr, "%s, %d, draw %d: %v\n", name, n, draw, p)
				row.add(p)
			}
			fmt.Printf("| %s | %d | %s\n", name, n, row.String())
		}
	}
}

func check(err error) {
	if err != nil {
		log.Fatal(err)
	}
}

// plans are the networks that are taken without and with training, and their sign-off.
type plans struct {
	untrained, trained side
	isTrained          bool // else both are the same network
	worse              int  // judged rows of which the whole interval is above 0
	worst              dataset.Comparison
	worstRow           string
	searched           int // networks that the search trained and judged
}

// side is a network with what it says on the sign-off recordings.
type side struct {
	macs, rows int      // multiply-accumulates of a step, judged rows
	failing    []string // rows that are above their tolerance
	within     bool     // on the selection recordings
	verdict    budget.Verdict
}

// chosenBy returns the cut and the choice of a search without training.
func chosenBy(ctx context.Context, pl *budget.Planner) (*budget.Cut, *budget.Chosen, error) {
	cut, err := pl.FindCut(ctx, func(int) {})
	if err != nil {
		return nil, nil, err
	}
	chosen, err := pl.Choose(ctx, cut)
	return cut, chosen, err
}

// plan plans a job without and with training.
func plan(ctx context.Context, in *budget.Inputs) (*plans, error) {
	without, job := *in, *in.Job
	job.Recovery = nil
	without.Job = &job
	_, untrained, err := chosenBy(ctx, budget.NewPlanner(&without))
	if err != nil {
		return nil, err
	}
	pl := budget.NewPlanner(in)
	cut, chosen, err := chosenBy(ctx, pl)
	if err != nil {
		return nil, err
	}
	trained, err := pl.Recover(ctx, cut, chosen, nil, budget.TrainingProgress{})
	if err != nil {
		return nil, err
	}
	p := &plans{isTrained: trained.Candidate.Recovered != nil, searched: len(cut.Trained)}
	var rows []budget.Loss
	for _, of := range []struct {
		chosen *budget.Chosen
		side   *side
	}{{untrained, &p.untrained}, {trained, &p.trained}} {
		r, err := pl.Assess(ctx, cut, of.chosen)
		if err != nil {
			return nil, err
		}
		rows = r.Loss
		*of.side = side{macs: in.Shape(of.chosen.Candidate).MultiplyAccumulates(),
			within: of.chosen.Within, verdict: r.Verdict}
		for _, row := range r.Loss {
			if !row.Judged {
				continue
			}
			of.side.rows++
			if value, _ := row.JudgedValue(); value > row.Tolerance {
				of.side.failing = append(of.side.failing, row.Text())
			}
		}
	}
	p.compare(in, rows, dataset.Measure(untrained.Fixed, in.Signoff, in.Regions),
		dataset.Measure(trained.Fixed, in.Signoff, in.Regions))
	return p, nil
}

// compare sets the worst row of the trained network against the other one, sequence by sequence.
func (p *plans) compare(in *budget.Inputs, rows []budget.Loss, untrained, trained *dataset.Score) {
	p.worst.Rise = math.Inf(-1)
	for _, row := range rows {
		if !row.Judged {
			continue
		}
		c := dataset.Compare(untrained, trained, row.Slice, row.Metric)
		if c.RiseLow > 0 {
			p.worse++
		}
		if c.Rise > p.worst.Rise {
			p.worst, p.worstRow = c, row.Text()
		}
	}
}

// String returns a line.
func (p *plans) String() string {
	if !p.isTrained {
		return fmt.Sprintf("nothing of %d taken, %d multiply-accumulates, within %t", p.searched,
			p.untrained.macs, p.untrained.within)
	}
	return fmt.Sprintf("%d -> %d multiply-accumulates (within %t, %t; %d trained); worst %s %s; "+
		"%d of %d rows worse; failing %v -> %v; %s -> %s", p.untrained.macs, p.trained.macs,
		p.untrained.within, p.trained.within, p.searched, p.worstRow, difference(p.worst), p.worse,
		p.trained.rows, p.untrained.failing, p.trained.failing, p.untrained.verdict,
		p.trained.verdict)
}

// difference is a rise with its interval.
func difference(c dataset.Comparison) string {
	return fmt.Sprintf("%+.1f (%+.1f..%+.1f) %%", 100*c.Rise, 100*c.RiseLow, 100*c.RiseHigh)
}

// tally adds up the draws of a number of sequences.
type tally struct {
	draws, trained, worse, rows int
	failing                     [2]int
	untrainedMACs, trainedMACs  []string
	worst                       dataset.Comparison
	worstRow                    string
}

// add adds a draw.
func (t *tally) add(p *plans) {
	t.draws++
	t.untrainedMACs = append(t.untrainedMACs, fmt.Sprint(p.untrained.macs))
	t.trainedMACs = append(t.trainedMACs, fmt.Sprint(p.trained.macs))
	t.failing[0] += len(p.untrained.failing)
	t.failing[1] += len(p.trained.failing)
	t.rows += p.trained.rows
	if !p.isTrained {
		return
	}
	if t.trained++; t.trained == 1 || p.worst.Rise > t.worst.Rise {
		t.worst, t.worstRow = p.worst, p.worstRow
	}
	t.worse += p.worse
}

// String returns the end of a row of the table.
func (t *tally) String() string {
	worst := "the same networks"
	if t.trained > 0 {
		worst = t.worstRow + " " + difference(t.worst)
	}
	return fmt.Sprintf("%d of %d | %s | %s | %s | %d of %d | %d, %d |", t.trained, t.draws,
		strings.Join(t.untrainedMACs, ", "), strings.Join(t.trainedMACs, ", "), worst, t.worse,
		t.rows, t.failing[0], t.failing[1])
}

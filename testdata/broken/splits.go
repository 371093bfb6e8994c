package main

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"

	"kerf/budget"
	"kerf/dataset"
	"kerf/testdata/demo/plant"
)

// Numbers of splits; see README.md.
const (
	demoSplits = 40
	openSplits = 100
)

// further are sequences of the demo's plant that no file of the repository holds.
var further = plant.Set{Name: "further", Prefix: "fur", Seed: 20_011, PerScenario: 12}

// split is a plan on two parts of a split, and its check on the third part.
type split struct {
	verdict               budget.Verdict
	features, units, macs int // kept, and multiply-accumulates of one step
	passed                int // judged rows of the loss that pass
	// those of them that are above their tolerance on the third part
	broken []string
	// judged rows that are above their tolerance on the sign-off recordings, whatever their verdict
	above   []string
	peer    *peerPlan // nil: no older kerf was asked
	trained *split    // the plan with [recovery], where it takes a network that was trained
}

// peerPlan is the plan of an older kerf: its verdict and the multiply-accumulates of one step.
type peerPlan struct {
	verdict budget.Verdict
	macs    int
}

// demoPool returns all sequences of the demo that no network was trained on.
func demoPool(d *draft) (*recording, error) {
	var text bytes.Buffer
	if err := further.WriteCSV(&text); err != nil {
		return nil, err
	}
	rec, err := readRecording(text.Bytes())
	if err != nil {
		return nil, err
	}
	return &recording{d.selection.header,
		slices.Concat(d.selection.sequences, d.signoff.sequences, rec.sequences)}, nil
}

// demoParts deals the sequences of [demoPool] into selection, sign-off and third part.
func demoParts(pool *recording, n int) []*recording {
	return pool.deal(rand.New(rand.NewPCG(splitSeed, uint64(n))), 3, func(string) []int {
		return []int{10, 12, 12}
	})
}

// openPool returns the halves of all sequences of the open data.
func openPool(d *draft) *recording {
	return (&recording{d.selection.header,
		slices.Concat(d.selection.sequences, d.signoff.sequences)}).halves()
}

// openParts deals the sequences of [openPool] into selection, sign-off and third part.
func openParts(pool *recording, n int) []*recording {
	return pool.deal(rand.New(rand.NewPCG(openSeed, uint64(n))), 3,
		func(scenario string) []int {
			if strings.HasSuffix(scenario, "_cold") {
				return []int{3, 3, 2}
			}
			return []int{6, 6, 4}
		})
}

// halves returns the recordings with every sequence cut in its middle.
func (r *recording) halves() *recording {
	h := &recording{header: r.header}
	for _, s := range r.sequences {
		middle := len(s.rows) / 2
		for half, rows := range [][][]string{s.rows[:middle], s.rows[middle:]} {
			part := sequence{name: fmt.Sprintf("%s-%d", s.name, half+1), scenario: s.scenario,
				rows: cloneRows(rows)}
			for _, row := range part.rows {
				row[0] = part.name
			}
			h.sequences = append(h.sequences, part)
		}
	}
	return h
}

// planSplit plans a job on two parts and measures the choice on the third. With a training the job
// is planned with [recovery] as well.
func planSplit(d *draft, parts []*recording, peer string, t *training) (*split, error) {
	c := *d
	c.selection, c.signoff = parts[0], parts[1]
	dir, err := os.MkdirTemp("", "kerf-split-")
	if err != nil {
		return nil, err
	}
	defer os.RemoveAll(dir)
	path, err := c.write(dir)
	if err != nil {
		return nil, err
	}
	in, err := budget.Load(path)
	if err != nil {
		return nil, err
	}
	r, err := plan(in)
	if err != nil {
		return nil, err
	}
	third, err := dataset.ReadCSV(bytes.NewReader(parts[2].text()), "third.csv",
		dataset.FeatureNames(in.Float.Features),
		dataset.Reference{Outputs: dataset.OutputNames(in.Float.Outputs)})
	if err != nil {
		return nil, err
	}
	s := onThird(r, third)
	if t != nil {
		if r, err = planTrained(in, *t); err != nil {
			return nil, err
		}
		if r.Chosen.Candidate.Recovered != nil {
			s.trained = onThird(r, third)
		}
	}
	if peer != "" {
		if s.peer, err = planByPeer(peer, path); err != nil {
			return nil, err
		}
	}
	return s, nil
}

// onThird measures the choice of a plan on the third part.
func onThird(r *budget.Result, third *dataset.Recordings) *split {
	in, kept := r.Inputs, r.Chosen.Candidate
	s := &split{verdict: r.Verdict, features: len(kept.Features), units: kept.UnitCount()}
	s.macs = products(s.features, s.units, len(in.Float.Outputs))
	given, fixed := dataset.Measure(in.Float, third, in.Regions),
		dataset.Measure(r.Chosen.Fixed, third, in.Regions)
	for _, row := range r.Loss {
		if !row.Judged {
			continue
		}
		if row.Rise > row.Tolerance {
			s.above = append(s.above, fmt.Sprintf("%s %.1f %%", row.Text(), 100*row.Rise))
		}
		if row.Verdict != budget.Pass {
			continue
		}
		s.passed++
		rise := dataset.Compare(given, fixed, row.Slice, row.Metric).Rise
		if rise > row.Tolerance {
			s.broken = append(s.broken, fmt.Sprintf("%s %.1f %%", row.Text(), 100*rise))
		}
	}
	return s
}

// products returns the multiply-accumulates of one step of a GRU with one dense layer.
func products(features, units, outputs int) int {
	return 3*units*(features+units) + units*outputs
}

// planByPeer runs an older kerf on the same job. Its exit code 1 means that the network does not
// fit or recordings are too few, which is no error here.
func planByPeer(program, job string) (*peerPlan, error) {
	cmd := exec.Command(program, "plan", job, "--json", "--out",
		filepath.Join(filepath.Dir(job), "peer"))
	cmd.Stderr = os.Stderr
	text, err := cmd.Output()
	var exit *exec.ExitError
	if err != nil && !(errors.As(err, &exit) && exit.ExitCode() == 1) {
		return nil, fmt.Errorf("%s: %w", program, err)
	}
	var signoff struct {
		Verdict budget.Verdict
		Kept    struct {
			Features []string
			Units    [][]int
		}
	}
	if err := json.Unmarshal(text, &signoff); err != nil {
		return nil, fmt.Errorf("what %s printed: %w", program, err)
	}
	return &peerPlan{signoff.Verdict,
		products(len(signoff.Kept.Features), len(signoff.Kept.Units[0]), 2)}, nil
}

// measureSplits plans the demo on 40 splits, and writes them to plans.csv.
func measureSplits(out *strings.Builder, dir, peer string) error {
	d, err := readDraft(demoJob, ".")
	if err != nil {
		return err
	}
	pool, err := demoPool(d)
	if err != nil {
		return err
	}
	rows := [][]string{{"split", "verdict", "features", "units", "multiply_accumulates",
		"rows_passed", "broken_on_third_part", "older_verdict", "older_multiply_accumulates"}}
	signed, brokenPlans, macs, peerMACs, peerSigned := 0, 0, 0, 0, 0
	for n := range demoSplits {
		parts := demoParts(pool, n)
		s, err := planSplit(d, parts, peer, nil)
		if err != nil {
			return err
		}
		macs += s.macs
		if s.verdict == budget.Fits {
			signed++
			if len(s.broken) > 0 {
				brokenPlans++
			}
		}
		row := []string{fmt.Sprint(n), string(s.verdict), fmt.Sprint(s.features),
			fmt.Sprint(s.units),
			fmt.Sprint(s.macs), fmt.Sprint(s.passed), strings.Join(s.broken, "; "), "", ""}
		if s.peer != nil {
			peerMACs += s.peer.macs
			if s.peer.verdict == budget.Fits {
				peerSigned++
			}
			row[7], row[8] = string(s.peer.verdict), fmt.Sprint(s.peer.macs)
		}
		rows = append(rows, row)
		fmt.Fprintln(os.Stderr, strings.Join(row, ", "))
	}
	fmt.Fprintf(out, "\n## Demo, planned on %d splits\n\nSigned \"fits\": %d (demanded: 30). Of "+
		"these with a row above its tolerance on the third part: %d (allowed: 1).\n", demoSplits,
		signed, brokenPlans)
	fmt.Fprintf(out, "Mean multiply-accumulates of one step: %.0f", float64(macs)/demoSplits)
	if peer != "" {
		fmt.Fprintf(out, "; of the older kerf %.0f, ratio %.3f (allowed: 1.1). The older kerf "+
			"signs %d", float64(peerMACs)/demoSplits, float64(macs)/float64(peerMACs), peerSigned)
	}
	out.WriteString(". Every split: plans.csv.\n")
	file, err := os.Create(filepath.Join(dir, "plans.csv"))
	if err != nil {
		return err
	}
	w := csv.NewWriter(file)
	if err := w.WriteAll(rows); err != nil {
		return err
	}
	return file.Close()
}

// measureOpen plans the open data on 100 splits.
func measureOpen(out *strings.Builder, _ string) error {
	d, err := readDraft(cityJob, ".")
	if err != nil {
		return err
	}
	pool := openPool(d)
	passed, broken, macs := 0, 0, 0
	verdicts := map[budget.Verdict]int{}
	var list []string
	for n := range openSplits {
		parts := openParts(pool, n)
		s, err := planSplit(d, parts, "", nil)
		if err != nil {
			return err
		}
		passed += s.passed
		broken += len(s.broken)
		macs += s.macs
		verdicts[s.verdict]++
		for _, row := range s.broken {
			list = append(list, fmt.Sprintf("- split %d: %s\n", n, row))
		}
		fmt.Fprintln(os.Stderr, n, *s)
	}
	fmt.Fprintf(out, "\n## Open data, planned on %d splits\n\nRows that pass: %d. Of these "+
		"above their tolerance on the third part: %d, %.1f %% (allowed: 2.5 %%).\n", openSplits,
		passed, broken, 100*float64(broken)/float64(passed))
	fmt.Fprintf(out, "Verdicts: %d %s, %d %s, %d %s. Mean multiply-accumulates of one step: "+
		"%.0f of %d.\n\n%s", verdicts[budget.Fits], budget.Fits, verdicts[budget.NotEnough],
		budget.NotEnough, verdicts[budget.DoesNotFit], budget.DoesNotFit, float64(macs)/openSplits,
		products(12, 12, 2), strings.Join(list, ""))
	return nil
}

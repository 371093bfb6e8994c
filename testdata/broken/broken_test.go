package main

import (
	"encoding/csv"
	"math"
	"os"
	"testing"

	"kerf/dataset"
)

// drawsTested is the number of draws of every kind that the test judges anew; make bench-broken
// judges all.
const drawsTested = 3

// The first draws of every kind have the outcome that make bench-broken wrote down: no harmful one
// is missed, and nine in ten are named rightly.
func TestBrokenJobs(t *testing.T) {
	b, err := newBench("../..", allJobs...)
	if err != nil {
		t.Fatal(err)
	}
	measured := readOutcomes(t)
	harmful, right := 0, 0
	for i := range kinds {
		for n := range drawsTested {
			o, err := b.judge(thirdSet, &kinds[i], n, false)
			if err != nil {
				t.Fatal(err)
			}
			if o.word == missed {
				t.Errorf("%s, %s: %s: %s times the error, and nothing is found", o.kind, o.job,
					o.says, ratio(o.rise()))
			}
			if o.isHarmful() {
				harmful++
				if o.word == named {
					right++
				}
			}
			row := measured[[2]string{o.kind, o.cells()[1]}]
			for _, column := range []int{2, 3, 5, 6} {
				if got := o.cells()[column]; row == nil || got != row[column] {
					t.Errorf("%s %d: %s is %q, broken.csv has %q: make bench-broken measures anew",
						o.kind, n, outcomeColumns[column], got, row)
				}
			}
		}
	}
	t.Logf("%d of %d harmful jobs named rightly", right, harmful)
	if harmful == 0 || float64(right) < demanded*float64(harmful) {
		t.Errorf("%d of %d harmful jobs are named rightly, demanded are %.0f %%", right, harmful,
			100*demanded)
	}
}

// readOutcomes reads broken.csv by kind and draw.
func readOutcomes(t *testing.T) map[[2]string][]string {
	t.Helper()
	file, err := os.Open("broken.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	rows, err := csv.NewReader(file).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	if len(rows) != 1+len(kinds)*drawsPerKind {
		t.Fatalf("broken.csv has %d rows, want a header and %d", len(rows), len(kinds)*drawsPerKind)
	}
	all := map[[2]string][]string{}
	for _, row := range rows[1:] {
		all[[2]string{row[0], row[1]}] = row
	}
	return all
}

// Nothing is found in jobs without faults, as they are and dealt anew.
func TestUnbrokenJobs(t *testing.T) {
	jobs := append(allJobs, slowJob)
	b, err := newBench("../..", jobs...)
	if err != nil {
		t.Fatal(err)
	}
	for _, job := range jobs {
		for deal := range uint64(drawsTested + 1) {
			s, err := b.examine(job, deal)
			if err != nil {
				t.Fatal(err)
			}
			for _, c := range s.causes {
				t.Errorf("%s, deal %d: %s", job, deal, c.String())
			}
			t.Logf("%s, deal %d: nearest miss %.3f, explained %.2f", job, deal, s.near(),
				s.explained)
		}
	}
}

// Three sequences of every scenario give no cheaper network than six.
func TestFewerRecordingsGiveNoCheaperNetwork(t *testing.T) {
	d, err := readDraft(demoJob, "../..")
	if err != nil {
		t.Fatal(err)
	}
	for number := range uint64(drawsTested) {
		before := 0
		for _, n := range []int{6, 3} {
			macs, verdict, err := productsOfPlan(d.fewer(number, n))
			if err != nil {
				t.Fatal(err)
			}
			t.Logf("draw %d, %d sequences of every scenario: %d multiply-accumulates, %s", number,
				n, macs, verdict)
			if macs < before {
				t.Errorf("draw %d: %d multiply-accumulates with %d sequences of every scenario, "+
					"%d with more", number, macs, n, before)
			}
			before = macs
		}
	}
}

// A deal keeps every sequence once, and the number of sequences of each scenario in either set.
func TestDealsKeepSequences(t *testing.T) {
	d, err := readDraft(cityJob, "../..")
	if err != nil {
		t.Fatal(err)
	}
	count := func(rec *recording) map[string]int {
		n := map[string]int{}
		for _, s := range rec.sequences {
			n[s.scenario]++
		}
		return n
	}
	dealt, moved := d.dealt(1), 0
	seen := map[string]bool{}
	for i, rec := range []*recording{dealt.selection, dealt.signoff} {
		given := []*recording{d.selection, d.signoff}[i]
		for scenario, n := range count(given) {
			if got := count(rec)[scenario]; got != n {
				t.Errorf("%s: %d sequences, before %d", scenario, got, n)
			}
		}
		for _, s := range rec.sequences {
			if seen[s.name] {
				t.Errorf("sequence %s is dealt twice", s.name)
			}
			seen[s.name] = true
			found := false
			for _, g := range given.sequences {
				found = found || g.name == s.name
			}
			if !found {
				moved++
			}
		}
	}
	if len(seen) != len(d.selection.sequences)+len(d.signoff.sequences) || moved == 0 {
		t.Errorf("%d sequences are dealt, %d of them into the other set", len(seen), moved)
	}
}

// The errors of the networks are those that torch computes (float_errors.csv, written by train.py),
// to the four digits that single precision leaves.
func TestErrorsAreThoseOfTorch(t *testing.T) {
	for _, job := range []string{lstmJob, elmanJob} {
		d, err := readDraft(job, "../..")
		if err != nil {
			t.Fatal(err)
		}
		in, err := load(d)
		if err != nil {
			t.Fatal(err)
		}
		file, err := trained.Open(job + "/float_errors.csv")
		if err != nil {
			t.Fatal(err)
		}
		rows, err := csv.NewReader(file).ReadAll()
		if err != nil {
			t.Fatal(err)
		}
		sets := map[string]*dataset.Recordings{"selection": in.Selection, "signoff": in.Signoff}
		if len(rows) != 1+len(sets)*len(in.Float.Outputs) {
			t.Fatalf("float_errors.csv of %s has %d rows", job, len(rows))
		}
		for _, row := range rows[1:] {
			rec := sets[row[1]]
			score := dataset.Measure(in.Float, rec, nil)
			o := 0
			for in.Float.Outputs[o].Name != row[0] {
				o++
			}
			got, want := score.Value(score, dataset.Slice{Output: o, Region: -1}, dataset.RMSE),
				number(row[2])
			if math.Abs(got/want-1) > 1e-4 {
				t.Errorf("%s: RMSE of %s on %s recordings %.6g, torch has %.6g", job, row[0],
					row[1], got, want)
			}
			if share := number(row[3]); share < 0.5 {
				t.Errorf("%s explains %.2f of %s", job, share, row[0])
			}
		}
	}
}

package main

import (
	"encoding/csv"
	"fmt"
	"os"
	"path/filepath"
	"strings"
)

// demanded is the share of harmful jobs whose first cause must be right (README.md).
const demanded = 0.9

// measureFirst judges every draw of the sets by which the check was improved and prints the
// summaries.
func measureFirst(out *strings.Builder, _ string) error {
	for _, set := range []string{firstSet, secondSet} {
		if _, err := judgeAll(out, set); err != nil {
			return err
		}
	}
	return nil
}

// measureBroken judges every draw of the third set, writes them to broken.csv and prints the
// summary.
func measureBroken(out *strings.Builder, dir string) error {
	all, err := judgeAll(out, thirdSet)
	if err != nil {
		return err
	}
	file, err := os.Create(filepath.Join(dir, "broken.csv"))
	if err != nil {
		return err
	}
	w := csv.NewWriter(file)
	w.Write(outcomeColumns)
	for _, o := range all {
		w.Write(o.cells())
	}
	w.Flush()
	if err := w.Error(); err != nil {
		return err
	}
	return file.Close()
}

// judgeAll judges every draw of a set and prints the summary.
func judgeAll(out *strings.Builder, set string) ([]*outcome, error) {
	b, err := newBench(".", allJobs...)
	if err != nil {
		return nil, err
	}
	var all []*outcome
	for i := range kinds {
		for n := range drawsPerKind {
			o, err := b.judge(set, &kinds[i], n, true)
			if err != nil {
				return nil, err
			}
			all = append(all, o)
			fmt.Fprintf(os.Stderr, "%s %d, %s: %s: %s (%s, %s) %s\n", o.kind, n, o.job, o.says,
				o.word, ratio(o.rise()), o.verdict, o.cause())
		}
	}
	fmt.Fprintf(out, "\n## Broken jobs, %s set\n", set)
	summarise(out, all)
	return all, nil
}

// outcomeColumns are the columns of broken.csv.
var outcomeColumns = []string{"kind", "draw", "job", "broken", "rise", "harmful", "outcome",
	"verdict", "first_cause"}

// cells returns the line of broken.csv.
func (o *outcome) cells() []string {
	harmful := "no"
	if o.isHarmful() {
		harmful = "yes"
	}
	return []string{o.kind, fmt.Sprint(o.number), o.job, o.says, ratio(o.rise()), harmful, o.word,
		o.verdict, o.cause()}
}

// summarise prints the table by kind, every harmful job that is not named rightly and every job
// that is not harmful.
func summarise(out *strings.Builder, all []*outcome) {
	out.WriteString("\n| kind | jobs | harmful | named | noticed | refused | missed | signed | " +
		"not harmful | of these found |\n|---|---:|---:|---:|---:|---:|---:|---:|---:|---:|\n")
	type counts struct{ jobs, harmful, named, noticed, refused, missed, signed, rest, found int }
	total := counts{}
	row := func(name string, c counts) {
		fmt.Fprintf(out, "| %s | %d | %d | %d | %d | %d | %d | %d | %d | %d |\n", name, c.jobs,
			c.harmful, c.named, c.noticed, c.refused, c.missed, c.signed, c.rest, c.found)
	}
	var wrong, quiet []string
	for _, k := range kinds {
		c := counts{}
		for _, o := range all {
			if o.kind != k.name {
				continue
			}
			c.jobs++
			if !o.isHarmful() {
				c.rest++
				if len(o.causes) > 0 {
					c.found++
				}
				quiet = append(quiet, fmt.Sprintf("- %s, %s: %s (%s times the error; %s)\n", o.kind,
					o.job, o.says, ratio(o.rise()), o.word))
				continue
			}
			c.harmful++
			switch o.word {
			case named:
				c.named++
			case noticed:
				c.noticed++
			case refused:
				c.refused++
			case missed:
				c.missed++
			}
			if o.verdict == "fits" {
				c.signed++
			}
			if o.word != named {
				wrong = append(wrong, fmt.Sprintf("- %s, %s: %s (%s times the error): %s. %s\n",
					o.kind, o.job, o.says, ratio(o.rise()), o.word, o.cause()))
			}
		}
		row(k.name, c)
		total = counts{total.jobs + c.jobs, total.harmful + c.harmful, total.named + c.named,
			total.noticed + c.noticed, total.refused + c.refused, total.missed + c.missed,
			total.signed + c.signed, total.rest + c.rest, total.found + c.found}
	}
	row("all", total)
	fmt.Fprintf(out, "\nNamed rightly: %.1f %% of the harmful ones (demanded: %.0f %%). Signed "+
		"although harmful: %d (allowed: 0).\n", 100*float64(total.named)/float64(total.harmful),
		100*demanded, total.signed)
	out.WriteString("\nHarmful and not named rightly:\n\n" + strings.Join(wrong, ""))
	out.WriteString("\nNot harmful:\n\n" + strings.Join(quiet, ""))
}

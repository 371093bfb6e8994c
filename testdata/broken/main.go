// Command broken measures whether kerf notices networks that do not do what they were trained for:
// jobs broken on purpose, the same jobs without faults, and what the choice is worth on recordings
// that nothing has seen. README.md says how everything is drawn and what is demanded.
//
//	go run ./testdata/broken [-peer KERF] [-part NAME] [-out DIR]
//
// Files, in the order in which to read them: jobs.go and deal.go (the unbroken jobs), breakages.go
// and its three companions (how they are broken), judge.go (the outcome of one job), and a file for
// each part that is measured: broken.go, unbroken.go, splits.go, trained.go, fewer.go, time.go.
package main

import (
	"flag"
	"fmt"
	"log"
	"os"
	"path/filepath"
	"strings"
)

func main() {
	peer := flag.String("peer", "", "program of an older kerf that plans the same splits")
	part := flag.String("part", "", "first, broken, unbroken, splits, open, trained, fewer "+
		"or time; all of them if left out")
	out := flag.String("out", "testdata/broken", "folder for what is measured")
	flag.Parse()
	var text strings.Builder
	for _, p := range []struct {
		name    string
		measure func(out *strings.Builder, dir string) error
	}{
		{"first", measureFirst},
		{"broken", measureBroken},
		{"unbroken", measureUnbroken},
		{"splits", func(out *strings.Builder, dir string) error {
			return measureSplits(out, dir, *peer)
		}},
		{"open", measureOpen},
		{"trained", measureTrained},
		{"fewer", measureFewer},
		{"time", measureTime},
	} {
		if *part != "" && *part != p.name {
			continue
		}
		var section strings.Builder
		if err := p.measure(&section, *out); err != nil {
			log.Fatal(err)
		}
		fmt.Print(section.String())
		text.WriteString(section.String())
	}
	if *part == "" {
		text.WriteString("\n" + machine())
		if err := os.WriteFile(filepath.Join(*out, "results.md"), []byte(text.String()),
			0o644); err != nil {
			log.Fatal(err)
		}
	}
}

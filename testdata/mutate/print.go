package main

import (
	"fmt"
	"io"
	"strings"
)

// printTable writes the results as Markdown: counts, survivors, then everything.
func printTable(w io.Writer, verdicts []*verdict) {
	fmt.Fprintln(w, "| where | mutants | caught | alive | not reached |\n|---|---|---|---|---|")
	rows := append(append([]string{}, groups...), "all")
	for _, group := range rows {
		n := map[string]int{}
		for _, v := range verdicts {
			if v.group == group || group == "all" {
				n[v.Result]++
				n["all"]++
			}
		}
		fmt.Fprintf(w, "| %s | %d | %d | %d | %d |\n", group, n["all"], n[caught], n[alive],
			n[notReached])
	}
	fmt.Fprintln(w, "\n| result | place | change | line | noticed by |\n|---|---|---|---|---|")
	for _, survivors := range []bool{true, false} {
		for _, v := range verdicts {
			if (v.Result != caught) == survivors {
				fmt.Fprintf(w, "| %s | %s:%d | %s | `%s` | %s |\n", v.Result, v.file, v.line,
					cell(v.what), cell(v.code), cell(v.By))
			}
		}
	}
}

// cell returns a text for a cell of a table.
func cell(text string) string { return strings.ReplaceAll(text, "|", "\\|") }

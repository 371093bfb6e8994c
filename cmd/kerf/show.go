package main

import (
	"context"
	"fmt"

	"github.com/spf13/cobra"

	"kerf/exporter/report"
	"kerf/fault"
)

// Formats that only kerf show has.
const (
	summaryFormat = "summary"
	junitFormat   = "junit"
)

func (a *app) showCommand() *cobra.Command {
	var since string
	var all bool
	var cmd *cobra.Command
	cmd = a.verb(&cobra.Command{
		Use:   "show HANDOFF",
		Short: "Print the sign-off of a handoff again, in any format",
		Long: `show prints the sign-off of a handoff in any format. Two are made for a pipeline:
summary is a short Markdown text for a merge request (verdict, tightest rows, cost per
target, and with --since what changed since another handoff), junit is the XML
that build servers read, with a test case per verdict.

HANDOFF is a folder, a signoff.json, or - for one on stdin.

Exit code: that of the verdict, as kerf plan gave it.`,
		Example: `  kerf show handoff
  kerf show handoff --format junit
  kerf show handoff --format summary --since handoff`,
		Args: oneHandoff,
	}, func(_ context.Context, args []string) (result, error) {
		if since != "" && cmd.Flag("format").Value.String() != summaryFormat {
			return nil, fault.New("--since belongs to --format summary",
				"kerf compare has every other format")
		}
		s, err := readSignoff(args[0], a.stdin)
		if err != nil {
			return nil, err
		}
		var c *report.Comparison
		if since != "" {
			old, err := readSignoff(since, a.stdin)
			if err != nil {
				return nil, err
			}
			c = report.Compare(old, s)
		}
		if since == standardStream {
			since = "the sign-off on stdin"
		}
		return &signoffResult{s, args[0], all, func(format string) ([]byte, error) {
			return rendering(s, format, c, since)
		}}, nil
	}, summaryFormat, junitFormat)
	cmd.Flags().StringVar(&since, "since", "", "another handoff: the summary says what "+
		"changed since")
	allFlag(cmd, &all)
	return cmd
}

// rendering returns a sign-off in a format other than text. c compares it with the handoff since,
// and is nil without one.
func rendering(s *report.Signoff, format string, c *report.Comparison, since string) (
	[]byte, error) {
	switch format {
	case markdownFormat:
		return s.Markdown(), nil
	case csvFormat:
		return s.CSV()
	case jsonFormat:
		return s.JSON()
	case junitFormat:
		return s.JUnit()
	}
	return s.MergeSummary(c, since), nil
}

// oneHandoff refuses all but one argument, which names a handoff.
func oneHandoff(cmd *cobra.Command, args []string) error {
	if len(args) != 1 {
		return fault.New(fmt.Sprintf("%s takes one handoff, got %d arguments", cmd.CommandPath(),
			len(args)), cmd.CommandPath()+" handoff")
	}
	return nil
}

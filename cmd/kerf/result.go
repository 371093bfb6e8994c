package main

import (
	"encoding/json"
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"kerf/exporter/report"
	"kerf/fault"
)

// result is what a verb found out. JSON and CSV are made from its exported fields, unrounded; text
// and Markdown from its tables, which round for people. docs/results.md lists the fields.
type result interface {
	tables() []report.Table
}

// texter is a result whose text holds more than its tables.
type texter interface {
	text(w io.Writer, p page) error
}

// limited is a result that can break a limit or a tolerance.
type limited interface {
	// isBroken reports whether the exit code is to be exitBroken.
	isBroken() bool
}

// formatter is a result whose other formats than text are files of their own.
type formatter interface {
	inFormat(format string) ([]byte, error)
}

// Formats of a result. A verb may have further ones: see [app.verb].
const (
	textFormat     = "text"
	markdownFormat = "markdown"
	csvFormat      = "csv"
	jsonFormat     = "json"
)

// formatFlag adds --format, and --json and --csv for the two that other programs read. A format
// that does not exist is refused before any work. further names formats that only this command has.
func formatFlag(cmd *cobra.Command, format *string, further ...string) {
	usage := "text, markdown, csv or json"
	for _, name := range further {
		usage += ", or " + name
	}
	cmd.Flags().StringVar(format, "format", textFormat, usage)
	cmd.Flags().BoolFunc("json", "as --format json: every field, unrounded", func(string) error {
		*format = jsonFormat
		return nil
	})
	cmd.Flags().BoolFunc("csv", "as --format csv: every field, unrounded", func(string) error {
		*format = csvFormat
		return nil
	})
	cmd.MarkFlagsMutuallyExclusive("format", "json", "csv")
	names := append([]string{textFormat, markdownFormat, csvFormat, jsonFormat}, further...)
	if err := cmd.RegisterFlagCompletionFunc("format",
		cobra.FixedCompletions(names, cobra.ShellCompDirectiveNoFileComp)); err != nil {
		panic(err) // a second registration of one flag
	}
	before := cmd.PreRunE
	cmd.PreRunE = func(cmd *cobra.Command, args []string) error { // before any work
		for _, name := range names {
			if *format == name {
				if before != nil {
					return before(cmd, args)
				}
				return nil
			}
		}
		return fault.New(fmt.Sprintf("--format: %q is not a format", *format),
			fault.DidYouMeanOr(*format, names, usage))
	}
}

// print prints a result on stdout.
func (a *app) print(format string, r result) error {
	return writeResult(a.stdout, format, r, a.page)
}

// writeResult renders a result in one of its formats.
func writeResult(w io.Writer, format string, r result, p page) error {
	if r, isFile := r.(formatter); isFile && format != textFormat {
		text, err := r.inFormat(format)
		if err != nil {
			return err
		}
		_, err = w.Write(text)
		return err
	}
	switch format {
	case markdownFormat:
		_, err := io.WriteString(w, report.MarkdownTables(r.tables()))
		return err
	case csvFormat:
		return writeRecords(w, r)
	case jsonFormat:
		return writeJSON(w, r)
	}
	if r, hasText := r.(texter); hasText {
		return r.text(w, p)
	}
	return p.printTexts(w, r.tables())
}

// writeJSON renders the exported fields of a value.
func writeJSON(w io.Writer, v any) error {
	encoder := json.NewEncoder(w)
	encoder.SetIndent("", "  ")
	return encoder.Encode(v)
}

package main

import (
	"strings"

	"github.com/spf13/cobra"

	"kerf/docs"
)

// wordsTopic is a page of the help, not a verb: kerf help words prints it.
func (a *app) wordsTopic() *cobra.Command {
	return &cobra.Command{
		Use:                   "words",
		Short:                 "What the words in tables and reports mean",
		Long:                  a.page.plain(docs.Words),
		DisableFlagsInUseLine: true,
	}
}

// plain renders a page of the manual as text: headings in capitals, paragraphs and list items
// wrapped to the width of the page, no marks of Markdown. A page without a width is made for
// docs/man, which takes Markdown.
func (p page) plain(markdown string) string {
	if p.width == 0 {
		return markdown
	}
	var blocks []string
	for _, block := range strings.Split(strings.TrimSpace(markdown), "\n\n") {
		if heading := strings.TrimLeft(block, "#"); heading != block {
			blocks = append(blocks, strings.ToUpper(strings.TrimSpace(heading)))
			continue
		}
		var items []string
		for line := range strings.Lines(block) {
			text, isItem := strings.CutPrefix(strings.TrimSpace(line), "- ")
			if last := len(items) - 1; !isItem && last >= 0 {
				items[last] += " " + text
				continue
			}
			items = append(items, text)
		}
		for i, item := range items {
			items[i] = p.wrap(marks.Replace(item), 2)
		}
		blocks = append(blocks, strings.Join(items, "\n"))
	}
	return strings.Join(blocks, "\n\n")
}

// marks takes the marks for bold, italic and fixed type off a text.
var marks = strings.NewReplacer("**", "", "*", "", "`", "")

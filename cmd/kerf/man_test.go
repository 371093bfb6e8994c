package main

import (
	"bytes"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/cobra/doc"
)

// manDate is the month of this version: pages made at another time are the same.
var manDate = time.Date(2026, time.November, 1, 0, 0, 0, 0, time.UTC)

// The manual pages in docs/man are those of the commands as they are. KERF_UPDATE_MAN=1 (make man)
// writes them anew.
func TestManPagesAreCurrent(t *testing.T) {
	want := manPages(t)
	dir := filepath.Join("..", "..", "docs", "man")
	if os.Getenv("KERF_UPDATE_MAN") != "" {
		if err := os.RemoveAll(dir); err != nil {
			t.Fatal(err)
		}
		if err := os.MkdirAll(dir, 0o755); err != nil {
			t.Fatal(err)
		}
		for name, text := range want {
			if err := os.WriteFile(filepath.Join(dir, name), text, 0o644); err != nil {
				t.Fatal(err)
			}
		}
	}
	entries, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	if len(entries) != len(want) || len(want) < 15 {
		t.Errorf("docs/man has %d pages, the commands make %d", len(entries), len(want))
	}
	for name, text := range want {
		if got, err := os.ReadFile(filepath.Join(dir, name)); err != nil ||
			!bytes.Equal(got, text) {
			t.Errorf("docs/man/%s is not current: make man writes it anew (%v)", name, err)
		}
	}
}

// manCorrections change what mandoc objects to in the generator's output: a date that is none, tabs
// in running text, an empty value of options that have none.
var manCorrections = strings.NewReplacer(`"Nov 2026"`, `"`+manDate.Format(time.DateOnly)+`"`, "\t",
	"  ", "[=]", "")

func manPages(t *testing.T) map[string][]byte {
	t.Helper()
	root := (&app{stdout: io.Discard, ui: newUI(io.Discard)}).rootCommand()
	root.DisableAutoGenTag = true
	pages := map[string][]byte{}
	var walk func(cmd *cobra.Command)
	walk = func(cmd *cobra.Command) {
		if cmd.Name() == "help" {
			return
		}
		var page bytes.Buffer
		header := &doc.GenManHeader{Title: strings.ToUpper(strings.ReplaceAll(cmd.CommandPath(),
			" ", "-")), Section: "1", Date: &manDate, Source: "kerf " + version, Manual: "kerf"}
		if err := doc.GenMan(cmd, header, &page); err != nil {
			t.Fatal(err)
		}
		pages[strings.ReplaceAll(cmd.CommandPath(), " ", "-")+".1"] = []byte(
			manCorrections.Replace(page.String()))
		for _, sub := range cmd.Commands() {
			walk(sub)
		}
	}
	walk(root)
	return pages
}

// mandoc finds nothing worse than style in the pages, and shows every option of plan.
func TestManPagesAreSound(t *testing.T) {
	mandoc, err := exec.LookPath("mandoc")
	if err != nil {
		t.Fatal("mandoc is not installed: install the Debian package mandoc")
	}
	pages, err := filepath.Glob(filepath.Join("..", "..", "docs", "man", "*.1"))
	if err != nil || len(pages) < 15 {
		t.Fatalf("%d pages, %v", len(pages), err)
	}
	if out, err := exec.Command(mandoc, slices.Concat([]string{"-T", "lint", "-W", "warning"},
		pages)...).CombinedOutput(); err != nil {
		t.Errorf("mandoc: %v\n%s", err, out)
	}
	text, err := exec.Command(mandoc, "-T", "ascii",
		filepath.Join("..", "..", "docs", "man", "kerf-plan.1")).Output()
	if err != nil {
		t.Fatal(err)
	}
	plain := overstruck.ReplaceAllString(string(text), "")
	for _, option := range []string{"--out", "--format", "--json", "--csv"} {
		if !strings.Contains(plain, option) {
			t.Errorf("kerf-plan.1 does not show %s", option)
		}
	}
}

// overstruck is a character that the next one is printed over, to make it bold.
var overstruck = regexp.MustCompile(".\x08")

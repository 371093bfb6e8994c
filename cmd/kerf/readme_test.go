package main

import (
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// The README and docs/walk.md show real output: every command of their console blocks runs here, in
// order and in one folder per page, and must print what the page shows below it. A command goes on
// in lines that begin with "> ". A block that ends with the line "..." shows the first lines of its
// last command. The pictures are made of the pages that the commands write. KERF_UPDATE_README=1
// writes pages and pictures anew instead.
func TestReadmeShowsRealOutput(t *testing.T) {
	bin := t.TempDir()
	out, err := exec.Command("go", "build", "-o", filepath.Join(bin, "kerf"), ".").CombinedOutput()
	if err != nil {
		t.Fatalf("go build: %v\n%s", err, out)
	}
	for _, page := range []struct {
		name     string
		commands int // at least
		pictures []picture
	}{
		{"README.md", 1, []picture{
			{"signoff-leakage.svg", "handoff", "rmse of leakage, L/min, by scenario and region"}}},
		{filepath.Join("docs", "walk.md"), 12, []picture{
			{"walk-candidates.svg", "pump", "Candidates on cortex-m0plus"},
			{"walk-leakage.svg", "pump", "rmse of leakage, L/min, by scenario and region"}}},
	} {
		t.Run(filepath.Base(page.name), func(t *testing.T) {
			path := filepath.Join("..", "..", page.name)
			text, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			run := &pageRun{t: t, name: page.name, dir: t.TempDir(),
				path: bin + string(os.PathListSeparator) + os.Getenv("PATH")}
			compareOrUpdate(t, path, string(text), run.rerun(string(text)))
			if run.commands < page.commands {
				t.Errorf("only %d commands found in %s", run.commands, page.name)
			}
			for _, p := range page.pictures {
				p.compare(t, filepath.Join(run.dir, "kerf-demo"))
			}
		})
	}
}

// compareOrUpdate reports a file that does not hold what it would today, or writes it anew.
func compareOrUpdate(t *testing.T, path, text, fresh string) {
	t.Helper()
	if os.Getenv("KERF_UPDATE_README") != "" {
		if err := os.WriteFile(path, []byte(fresh), 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	if fresh == text {
		return
	}
	if err := os.WriteFile(path+".got", []byte(fresh), 0o644); err != nil {
		t.Fatal(err)
	}
	t.Errorf("%s is not what kerf makes now; compare with %s.got, or write it anew with "+
		"KERF_UPDATE_README=1 go test ./cmd/kerf -run Readme", path, path)
}

// pageRun runs the commands of one page.
type pageRun struct {
	t               *testing.T
	name, dir, path string
	commands        int
}

// consoleBlock is one block of commands and their output.
var consoleBlock = regexp.MustCompile("(?s)```console\n(.*?\n)```\n")

// rerun replaces the output in every console block by that of its commands.
func (r *pageRun) rerun(text string) string {
	return consoleBlock.ReplaceAllStringFunc(text, func(block string) string {
		var b strings.Builder
		b.WriteString("```console\n")
		parts := strings.Split("\n"+consoleBlock.FindStringSubmatch(block)[1], "\n$ ")[1:]
		for _, part := range parts {
			shell, shown, _ := strings.Cut(part, "\n")
			command := shell
			for strings.HasPrefix(shown, "> ") {
				var more string
				more, shown, _ = strings.Cut(shown, "\n")
				shell += "\n" + strings.TrimPrefix(more, "> ")
				command += "\n" + more
			}
			fresh := r.run(shell)
			if strings.HasSuffix(shown, "\n...\n") {
				lines := strings.SplitAfter(fresh, "\n")
				lines = lines[:min(len(lines), strings.Count(shown, "\n")-1)]
				fresh = strings.Join(lines, "") + "...\n"
			}
			b.WriteString("$ " + command + "\n" + fresh)
		}
		return b.String() + "```\n"
	})
}

func (r *pageRun) run(command string) string {
	r.commands++
	cmd := exec.Command("sh", "-c", strings.ReplaceAll(command, "go run ./cmd/kerf", "kerf"))
	cmd.Dir = r.dir
	cmd.Env = append(os.Environ(), "PATH="+r.path)
	cmd.Stderr = os.Stderr
	out, err := cmd.Output()
	if err != nil {
		r.t.Errorf("%s: %s: %v", r.name, command, err)
	}
	return string(out)
}

// picture is a file of docs that shows one picture of a sign-off.
type picture struct{ file, handoff, title string }

// compare compares the file with the picture of the handoff in the folder.
func (p picture) compare(t *testing.T, folder string) {
	t.Helper()
	html, err := os.ReadFile(filepath.Join(folder, p.handoff, "signoff.html"))
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join("..", "..", "docs", p.file)
	text, err := os.ReadFile(path)
	if err != nil && os.Getenv("KERF_UPDATE_README") == "" {
		t.Fatal(err)
	}
	compareOrUpdate(t, path, string(text), standalonePicture(t, string(html), p.title))
}

// standalonePicture makes a file of one picture of signoff.html, with the colours, strokes and
// fonts of the page.
func standalonePicture(t *testing.T, page, title string) string {
	t.Helper()
	between := func(text, open, end string) string {
		_, rest, found := strings.Cut(text, open)
		inner, _, closed := strings.Cut(rest, end)
		if !found || !closed {
			t.Fatalf("signoff.html has no %s ... %s", open, end)
		}
		return inner
	}
	style := between(page, "<style>", "</style>")
	var rules strings.Builder
	rules.WriteString(":root {" + between(style, ":root {", "\n}\n") + "\n}\n")
	dark := "@media screen and (prefers-color-scheme: dark) {"
	rules.WriteString(dark + between(style, dark, "\n}\n") + "\n}\n")
	rules.WriteString("svg { font:" + between(style, "svg { display: block; font-size:", ";") +
		between(style, "font: 15px/1.5", ";") + "; }\n")
	rules.WriteString("svg text {" + between(style, "\nsvg text {", "\n@media"))

	figure := between(page, "<figcaption><b>"+title+"</b>", "</figure>")
	width, height := 0.0, 0.0
	attributes, body, _ := strings.Cut(between(figure, "<svg ", "</svg>"), ">")
	if _, err := fmt.Sscanf(attributes, `viewBox="0 0 %g %g"`, &width, &height); err != nil {
		t.Fatalf("%s: %v", attributes, err)
	}
	return fmt.Sprintf(`<svg xmlns="http://www.w3.org/2000/svg" width="%g" height="%g" %s>
<!-- Made by KERF_UPDATE_README=1 go test ./cmd/kerf -run Readme; do not edit. -->
<style>
%s
</style>
<defs>%s</defs>
<rect width="100%%" height="100%%" fill="var(--page)"/>
%s
</svg>
`, width, height, attributes, strings.TrimSpace(rules.String()),
		between(page, `<svg class="defs" aria-hidden="true"><defs>`, "</defs>"),
		strings.ReplaceAll(body, "><", ">\n<"))
}

// The README has a row for every verb.
func TestReadmeListsEveryVerb(t *testing.T) {
	text, err := os.ReadFile(filepath.Join("..", "..", "README.md"))
	if err != nil {
		t.Fatal(err)
	}
	root := (&app{stdout: io.Discard, ui: newUI(io.Discard)}).rootCommand()
	verbs := 0
	for _, cmd := range root.Commands() {
		name := cmd.Name()
		if name != "version" && name != "help" && name != "completion" &&
			!cmd.IsAdditionalHelpTopicCommand() {
			verbs++
			if !strings.Contains(string(text), "\n| `"+name+"` | ") {
				t.Errorf("README.md has no row for %s", name)
			}
		}
	}
	if rows := strings.Count(string(text), "\n| `"); rows != verbs {
		t.Errorf("README.md has %d rows for %d verbs", rows, verbs)
	}
}

package main

import (
	"io"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/spf13/cobra"
)

// Every example of every --help runs, in a folder that holds job.toml, its handoff and board.csv,
// and ends with a verdict or, for the commands without one, with exit code 0. Those that need cross
// compilers and emulators run in TestEmulatedHelpExamples.
func TestHelpExamples(t *testing.T) {
	if n := runExamples(t, func(example string) bool { return !emulates(example) }); n < 10 {
		t.Errorf("only %d examples found", n)
	}
}

// emulates tells that an example needs cross compilers and emulators.
func emulates(example string) bool { return strings.Contains(example, "measure") }

// runExamples runs the examples of some commands and returns how many there are.
func runExamples(t *testing.T, isWanted func(example string) bool) int {
	a := &app{stdout: io.Discard, ui: newUI(io.Discard)}
	handoff := filepath.Join(t.TempDir(), "handoff")
	if code, _, stderr := call("plan", cityJob(t, func(job string) string {
		return job
	}), "--out", handoff); code != exitDone {
		t.Fatalf("plan: exit code %d: %s", code, stderr)
	}
	examples := 0
	var walk func(cmd *cobra.Command)
	walk = func(cmd *cobra.Command) {
		if cmd.Runnable() && cmd.HasParent() && cmd.Name() != "help" && cmd.Name() !=
			"completion" && !strings.HasPrefix(cmd.CommandPath(), "kerf completion") {
			if cmd.Example == "" {
				t.Errorf("%s has no example", cmd.CommandPath())
			}
			for example := range strings.Lines(cmd.Example) {
				if !isWanted(example) {
					continue
				}
				examples++
				args := strings.Fields(example)
				if !strings.HasPrefix(strings.Join(args, " "),
					strings.Join(strings.Fields(cmd.CommandPath()), " ")) {
					t.Errorf("%s: the example %q is of another command", cmd.CommandPath(), example)
					continue
				}
				t.Run(strings.Join(args, " "), func(t *testing.T) {
					t.Chdir(filepath.Dir(cityJob(t, func(job string) string { return job })))
					if err := writeBoardLines("."); err != nil {
						t.Fatal(err)
					}
					if strings.Contains(example, "--without return") {
						nameChannel(t, "wind", "return")
					}
					if cmd.Name() == "features" {
						addSamples(t)
					}
					if err := os.CopyFS("handoff", os.DirFS(handoff)); err != nil {
						t.Fatal(err)
					}
					if code, _, stderr := call(args[1:]...); code != exitDone {
						t.Errorf("exit code %d: %s", code, stderr)
					}
				})
			}
		}
		for _, sub := range cmd.Commands() {
			walk(sub)
		}
	}
	walk(a.rootCommand())
	return examples
}

// nameChannel gives a channel of features.csv the name that the examples have: they are of the
// scenario of the demo.
func nameChannel(t *testing.T, from, to string) {
	t.Helper()
	text, err := os.ReadFile("features.csv")
	if err != nil {
		t.Fatal(err)
	}
	named := strings.ReplaceAll(string(text), ","+from+",", ","+to+",")
	if err := os.WriteFile("features.csv", []byte(named), 0o600); err != nil {
		t.Fatal(err)
	}
}

// addSamples gives the job samples of which temp_max is the level: one for each step.
func addSamples(t *testing.T) {
	t.Helper()
	read := func(name string) string {
		text, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		return string(text)
	}
	write := func(name, text string) {
		if err := os.WriteFile(name, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	for _, set := range []string{"selection", "signoff"} {
		write("raw_"+set+".csv", strings.Replace(read(set+".csv"), ",temp_max,", ",sampled,", 1))
	}
	features := strings.ReplaceAll(read("features.csv"), "\n", ",\n")
	features = strings.Replace(features, ",std,\n", ",std,computed\n", 1)
	lines := strings.SplitAfter(features, "\n")
	lines[1] = strings.TrimSuffix(lines[1], "\n") + "level\n" // temp_max
	write("features.csv", strings.Join(lines, ""))
	own := regexp.MustCompile(`(?m)^period = .*\n`) // of the target: that of [raw] counts
	write("job.toml", own.ReplaceAllString(read("job.toml"), "")+`
[raw]
selection = "raw_selection.csv"
signoff = "raw_signoff.csv"
rate = "1 Hz"
window = 1
period = "1 s"

[[channel]]
name = "temperature"
column = "sampled"
converter = { low = "-50 degC", high = "50 degC", bits = 12 }
`)
}

// Every command explains itself, options included, on stdout.
func TestHelp(t *testing.T) {
	for _, args := range [][]string{{}, {"plan"}, {"demo"}, {"init"}, {"rank"}, {"observe"},
		{"features"}, {"explain"}, {"show"}, {"compare"}, {"version"}, {"prune"}, {"quantize"},
		{"cost"}, {"export"}, {"measure"}, {"targets"}, {"targets", "list"}, {"targets", "show"},
		{"targets", "fit"}} {
		code, stdout, stderr := call(append(args, "--help")...)
		if code != exitDone || stderr != "" || !strings.Contains(stdout, "Usage:") {
			t.Errorf("kerf %s --help: exit code %d, stderr %q, stdout %q", strings.Join(args, " "),
				code, stderr, stdout)
		}
	}
}

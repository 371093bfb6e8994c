package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"reflect"
	"runtime"
	"slices"
	"strings"
	"testing"
	"time"

	"kerf/budget"
	"kerf/exporter/report"
)

// trainedJob is a job whose search trains networks from the cut and from scratch, again, without
// features, and takes one of them, in some seconds.
func trainedJob(t *testing.T) string {
	t.Helper()
	return cityJob(t, func(job string) string {
		return strings.ReplaceAll(job, `"5 %"`, `"40 %"`) + "\n[recovery]\nepochs = 10\n"
	})
}

// Ctrl-C while kerf plan trains: it leaves a whole checkpoint and nothing else, and the next run
// goes on from there. After several of them the handoff is that of a run that nobody stopped, and
// recover comes to the same network with no further training.
func TestCtrlCLeavesTheCheckpointOfAPlan(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("NOT CHECKED: os.Process.Signal cannot send an interrupt there")
	}
	job, dir, inOne := trainedJob(t), t.TempDir(), t.TempDir()
	planInto := func(dir string) []string {
		return []string{"plan", job, "--out", filepath.Join(dir, "handoff"), "--checkpoint",
			filepath.Join(dir, "trainings.json")}
	}
	run := func(args ...string) string {
		t.Helper()
		code, stdout, stderr := call(args...)
		if code != exitDone {
			t.Fatalf("%v: exit code %d: %s", args, code, stderr)
		}
		return stdout
	}
	run(planInto(inOne)...)
	all := len(keptTrainings(t, inOne))
	for _, kept := range []int{1, all / 4, all / 2} {
		cmd := command(t, planInto(dir)...)
		var said bytes.Buffer
		cmd.Stdout, cmd.Stderr = &said, &said
		ended := started(t, cmd)
		waitForTrainings(t, dir, kept, ended)
		if err := cmd.Process.Signal(os.Interrupt); err != nil {
			t.Fatal(err)
		}
		<-ended
		note := "kerf: note: the trainings so far are in " + filepath.Join(dir, "trainings.json") +
			": the same command goes on from there\n"
		if cmd.ProcessState.Success() || said.String() != note {
			t.Fatalf("%v, said %q", cmd.ProcessState, said.String())
		}
		if names := slices.Sorted(maps.Keys(tree(t, dir))); !slices.Equal(names,
			[]string{"trainings.json"}) {
			t.Errorf("left behind: %v", names)
		}
	}
	run(planInto(dir)...)
	if files := differing(tree(t, dir), tree(t, inOne)); files != "" {
		t.Errorf("interrupted runs end with other files than one: %s", files)
	}

	network := filepath.Join(t.TempDir(), "network.safetensors")
	var r recoverResult
	if err := json.Unmarshal([]byte(run("recover", job, "--checkpoint",
		filepath.Join(dir, "trainings.json"), "--out", network, "--json")), &r); err != nil ||
		r.Recovery == nil {
		t.Fatalf("%v, recovery %v", err, r.Recovery)
	}
	wholeNetwork(t, network)
	var signed struct {
		Kept     struct{ Units [][]int }
		Recovery *report.RecoveryInfo
	}
	if err := json.Unmarshal(readAll(t, filepath.Join(dir, "handoff"))["signoff.json"],
		&signed); err != nil ||
		!reflect.DeepEqual(signed.Recovery, r.Recovery) ||
		!reflect.DeepEqual(signed.Kept.Units, r.Units) {
		t.Errorf("recover comes to %v, %v, plan to %v (%v)", r.Units, r.Recovery, signed, err)
	}
	if n := len(keptTrainings(t, dir)); n != all {
		t.Errorf("recover trained %d networks that plan had not", n-all)
	}
}

// What is no checkpoint of the job is refused before the work, and stays as it is.
func TestCheckpointsOfOtherJobsAreRefused(t *testing.T) {
	job, none := trainedJob(t), cityJob(t, func(job string) string { return job })
	other := cityJob(t, func(job string) string { return job + "\n[recovery]\nepochs = 1\n" })
	file := filepath.Join(t.TempDir(), "trainings.json")
	in, err := budget.Load(other)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := (&app{}).openCheckpoint(in, file); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct{ job, file, says string }{
		{job, file, "belongs to another job"},
		{job, job, "is no whole checkpoint of kerf"},
		{job, t.TempDir(), "is no regular file"},
		{job, filepath.Join(file, "a"), "not a directory"},
		{none, file, "asks for no training"},
	} {
		before, _ := os.ReadFile(c.file)
		out := filepath.Join(t.TempDir(), "handoff")
		code, stdout, stderr := call("plan", c.job, "--out", out, "--checkpoint", c.file)
		if code != exitInput || stdout != "" || !strings.Contains(stderr, c.says) ||
			!strings.Contains(stderr, "kerf: hint: ") || strings.Count(stderr, "\n") != 2 {
			t.Errorf("%s: exit code %d, stderr %q", c.says, code, stderr)
		}
		if after, _ := os.ReadFile(c.file); !bytes.Equal(after, before) {
			t.Errorf("%s: the file was changed", c.says)
		}
		if _, err := os.Stat(out); err == nil {
			t.Errorf("%s: there is a handoff", c.says)
		}
	}
}

// keptTrainings lists the trainings that the checkpoint in a folder holds; none where there is no
// file.
func keptTrainings(t *testing.T, dir string) []string {
	t.Helper()
	text, err := os.ReadFile(filepath.Join(dir, "trainings.json"))
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	var s struct{ Trainings map[string]any }
	if err := json.Unmarshal(text, &s); err != nil {
		t.Fatalf("a checkpoint is seen in part: %v", err)
	}
	return slices.Sorted(maps.Keys(s.Trainings))
}

// waitForTrainings waits until the checkpoint in a folder holds some trainings, and looks at every
// moment whether it is whole.
func waitForTrainings(t *testing.T, dir string, n int, ended chan struct{}) {
	t.Helper()
	for len(keptTrainings(t, dir)) < n {
		select {
		case <-ended:
			t.Fatal("the program ended before the signal")
		case <-time.After(5 * time.Millisecond):
		}
	}
}

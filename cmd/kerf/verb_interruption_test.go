package main

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"kerf/exporter"
	"kerf/model"
	"kerf/testdata/slow"
)

// moments is at how many moments every verb is interrupted; make interrupts sets 20, for all verbs.
func moments(t *testing.T) (n int, all bool) {
	text := os.Getenv("KERF_INTERRUPTS")
	if text == "" {
		return 3, false
	}
	n, err := strconv.Atoi(text)
	if err != nil {
		t.Fatalf("KERF_INTERRUPTS: %v", err)
	}
	return n, true
}

// interruptedVerb is a verb that works for seconds. Files that it writes stand in the folder in
// which it runs, beside the job in slow and the open data set in city, whose handoff is in handoff.
type interruptedVerb struct {
	args   []string
	always bool     // without KERF_INTERRUPTS as well
	tools  []string // that have to be there
}

var interruptedVerbs = []interruptedVerb{
	{args: strings.Fields("plan slow/job.toml --out handoff"), always: true},
	{args: strings.Fields("rank slow/job.toml"), always: true},
	{args: strings.Fields("recover slow/job.toml --keep-features all --keep-units all --epochs " +
		"1 --json " +
		"--out net.safetensors --checkpoint trainings.json"), always: true},
	{args: strings.Fields("rank slow/job.toml --shapley --json")},
	{args: strings.Fields("observe slow/job.toml")},
	{args: strings.Fields("units slow/job.toml")},
	{args: strings.Fields("prune slow/job.toml --out net.safetensors")},
	{args: strings.Fields("quantize slow/job.toml")},
	{args: strings.Fields("cost slow/job.toml --all-targets")},
	{args: strings.Fields("export slow/job.toml --keep-units all --out handoff")},
	{args: strings.Fields("init slow/model.safetensors slow/selection.csv --out draft")},
	{args: strings.Fields("demo --out demo")},
	{args: strings.Fields("verify handoff --against city/job.toml")},
	{args: strings.Fields("measure slow/job.toml"),
		tools: strings.Fields("arm-none-eabi-gcc qemu-system-arm")},
	{args: strings.Fields("plan slow/job.toml --measure --out handoff"),
		tools: strings.Fields("arm-none-eabi-gcc qemu-system-arm")},
}

// Ctrl-C ends every long verb within a second at any moment, by the signal and without a word.
// What stood there stands, or the whole of what the verb writes; nothing is left behind.
func TestCtrlCEndsEveryVerb(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("NOT CHECKED: os.Process.Signal cannot send an interrupt there")
	}
	n, all := moments(t)
	start := t.TempDir()
	if err := slow.Write(filepath.Join(start, "slow"), 0); err != nil {
		t.Fatal(err)
	}
	city := filepath.Dir(cityJob(t, func(job string) string { return job }))
	if err := os.CopyFS(filepath.Join(start, "city"), os.DirFS(city)); err != nil {
		t.Fatal(err)
	}
	if code, _, stderr := call("plan", filepath.Join(start, "city", "job.toml"), "--out",
		filepath.Join(start, "handoff")); code != exitDone {
		t.Fatal(stderr)
	}
	before := tree(t, start)
	for i, v := range interruptedVerbs {
		if !all && !v.always {
			continue
		}
		t.Run(strings.Join(v.args, " "), func(t *testing.T) {
			for _, tool := range v.tools {
				if _, err := exec.LookPath(tool); err != nil {
					t.Skipf("NOT CHECKED: %v", err)
				}
			}
			dir, uninterrupted, length, _ := v.run(t, start, nil)
			after := tree(t, dir)
			delete(after, "trainings.json") // which an interrupted run ends at another epoch
			if uninterrupted.code == exitInput || uninterrupted.signalled {
				t.Fatalf("uninterrupted: %+v", uninterrupted)
			}
			random := rand.New(rand.NewPCG(uint64(i), 0x1e7))
			ended := 0
			for range n {
				moment := time.Duration(random.Int64N(int64(length)))
				dir, got, _, late := v.run(t, start, &moment)
				where := fmt.Sprintf("interrupted after %v of %v", moment.Round(time.Millisecond),
					length)
				if late != "" {
					t.Errorf("%s: %s", where, late)
				}
				left := tree(t, dir)
				switch {
				case got.signalled:
					ended++
					// a verb with a checkpoint says where the trainings are
					said := strings.TrimPrefix(got.stderr, "kerf: note: the trainings so far are "+
						"in trainings.json: the same command goes on from there\n")
					if got.stdout+said != "" {
						t.Errorf("%s: stdout %q, stderr %q", where, got.stdout, got.stderr)
					}
				case got != uninterrupted: // the verb ended before the signal
					t.Errorf("%s: %+v", where, got)
				}
				keptTrainings(t, dir) // whole
				delete(left, "trainings.json")
				if v.args[0] == "demo" {
					checkDemo(t, dir, after)
				} else if !sameTree(left, before) && !sameTree(left, after) {
					t.Errorf("%s: what is left is neither what stood there nor what the verb "+
						"writes: %s", where, differing(left, before))
				}
			}
			if ended == 0 {
				t.Errorf("the verb ended %d times before the signal", n)
			}
			t.Logf("%d of %d runs were interrupted, an uninterrupted one works for %v", ended, n,
				length)
		})
	}
}

// ending is how a process ended.
type ending struct {
	code           int
	signalled      bool // ended by SIGINT
	stdout, stderr string
}

// run runs a verb in a fresh copy of the folder start, and interrupts it at a moment of its
// processor time, if there is one. length is the processor time of the whole run; late says by how
// much the process ended later than within a second.
func (v interruptedVerb) run(t *testing.T, start string,
	moment *time.Duration) (dir string, got ending, length time.Duration, late string) {
	t.Helper()
	dir = t.TempDir()
	if err := os.CopyFS(dir, os.DirFS(start)); err != nil {
		t.Fatal(err)
	}
	scratch := t.TempDir()
	cmd := command(t, v.args...)
	cmd.Dir = dir
	cmd.Env = append(os.Environ(), "TMPDIR="+scratch)
	var stdout, stderr bytes.Buffer
	cmd.Stdout, cmd.Stderr = &stdout, &stderr
	ended := started(t, cmd)
	if moment == nil {
		<-ended
	} else {
		late = interrupt(t, cmd, *moment, ended)
	}
	status, _ := cmd.ProcessState.Sys().(syscall.WaitStatus)
	got = ending{cmd.ProcessState.ExitCode(),
		status.Signaled() && status.Signal() == syscall.SIGINT, stdout.String(), stderr.String()}
	if left := tree(t, scratch); len(left) > 0 {
		t.Errorf("%d scratch files are left", len(left))
	}
	length = cmd.ProcessState.UserTime() + cmd.ProcessState.SystemTime()
	return dir, got, length, late
}

// longestWait ends a process that does nothing after a signal.
const longestWait = 2 * time.Minute

// interrupt sends SIGINT when a process has worked for a while and waits for its end. A while is
// processor time, which is the same on a busy machine; where nobody tells it, time of the clock. A
// second is counted by both: the end is late when both are over.
func interrupt(t *testing.T, cmd *exec.Cmd, while time.Duration,
	ended chan struct{}) (late string) {
	t.Helper()
	began := time.Now()
	used, known := processorTime(cmd.Process.Pid)
	for known && used < while || !known && time.Since(began) < while {
		select {
		case <-ended:
			return ""
		case <-time.After(time.Millisecond):
		}
		used, known = processorTime(cmd.Process.Pid)
	}
	if err := cmd.Process.Signal(os.Interrupt); errors.Is(err, os.ErrProcessDone) {
		<-ended // its end is known before its state is
		return ""
	} else if err != nil {
		t.Fatal(err)
	}
	sent := time.Now()
	select {
	case <-ended:
	case <-time.After(longestWait):
		cmd.Process.Kill()
		<-ended
		return "does not end"
	}
	waited := time.Since(sent)
	worked := cmd.ProcessState.UserTime() + cmd.ProcessState.SystemTime() - used
	switch {
	case known && waited > time.Second && worked > time.Second:
		return fmt.Sprintf("ends after %v, and %v of processor time", waited, worked)
	case !known && waited > 5*time.Second:
		return fmt.Sprintf("ends after %v", waited)
	}
	return ""
}

// processorTime is what a process and the children that it waited for have used, by
// /proc/PID/stat: fields 14 to 17, in hundredths of a second (proc(5), sysconf(_SC_CLK_TCK) is 100
// on Linux).
func processorTime(pid int) (used time.Duration, known bool) {
	text, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", pid))
	if err != nil {
		return 0, false
	}
	_, rest, _ := strings.Cut(string(text), ") ") // field 2 may hold blanks
	fields := strings.Fields(rest)
	for _, field := range fields[14-3 : 17-3+1] {
		ticks, err := strconv.Atoi(field)
		if err != nil {
			return 0, false
		}
		used += time.Duration(ticks) * time.Second / 100
	}
	return used, true
}

// tree reads every file below a folder.
func tree(t *testing.T, dir string) map[string]string {
	t.Helper()
	files := map[string]string{}
	if err := fs.WalkDir(os.DirFS(dir), ".", func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		content, err := os.ReadFile(filepath.Join(dir, path))
		files[filepath.ToSlash(path)] = string(content)
		return err
	}); err != nil {
		t.Fatal(err)
	}
	return files
}

func sameTree(a, b map[string]string) bool { return differing(a, b) == "" }

// differing names the files that are not the same.
func differing(a, b map[string]string) string {
	var names []string
	for name := range a {
		if b[name] != a[name] {
			names = append(names, name)
		}
	}
	for name := range b {
		if _, there := a[name]; !there {
			names = append(names, name)
		}
	}
	return strings.Join(names, ", ")
}

// checkDemo checks what an interrupted kerf demo leaves: whole files of the job, and either a whole
// handoff or none.
func checkDemo(t *testing.T, dir string, after map[string]string) {
	t.Helper()
	for name, content := range tree(t, dir) {
		if after[name] != content {
			t.Errorf("%s is not what kerf demo writes", name)
		}
	}
	handoff := filepath.Join(dir, "demo", "handoff")
	if _, err := os.Stat(handoff); err != nil {
		return
	}
	if v, err := exporter.Verify(handoff, version); err != nil || !v.Verified {
		t.Errorf("%s is no handoff: %v", handoff, err)
	}
}

// wholeNetwork checks that a network file can be read.
func wholeNetwork(t *testing.T, path string) {
	t.Helper()
	if _, err := model.ImportFile(path, model.Spec{Convention: "torch"}); err != nil {
		t.Errorf("%s: %v", path, err)
	}
}

// Ctrl-C while a verb waits for its job on stdin ends the verb.
func TestCtrlCEndsTheWaitForStdin(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("NOT CHECKED: os.Process.Signal cannot send an interrupt there")
	}
	reader, writer, err := os.Pipe()
	if err != nil {
		t.Fatal(err)
	}
	defer reader.Close()
	defer writer.Close()
	cmd := command(t, "rank", "-")
	cmd.Stdin = reader
	var said bytes.Buffer
	cmd.Stderr = &said
	cmd.Stdout = io.Discard
	ended := started(t, cmd)
	time.Sleep(300 * time.Millisecond) // most likely it waits by now; it has to end in any case
	if late := interrupt(t, cmd, 0, ended); late != "" {
		t.Error(late)
	}
	if status, _ := cmd.ProcessState.Sys().(syscall.WaitStatus); !status.Signaled() ||
		said.Len() > 0 {
		t.Errorf("%v, stderr %q", cmd.ProcessState, said.String())
	}
}

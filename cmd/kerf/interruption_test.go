package main

import (
	"bytes"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"kerf/exporter"
)

// command is kerf as a program of its own.
func command(t *testing.T, args ...string) *exec.Cmd {
	t.Helper()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	return &exec.Cmd{Path: self, Args: append([]string{"kerf"}, args...)} // see TestMain
}

// twoJobs are two jobs of one name with different handoffs, and what each gives.
func twoJobs(t *testing.T) (jobs [2]string, want [2]map[string][]byte) {
	t.Helper()
	for i, weights := range []string{"int8", "int16"} {
		jobs[i] = cityJob(t, func(job string) string {
			return job + "\n[formats]\nweights = \"" + weights + "\"\n"
		})
		out := filepath.Join(t.TempDir(), "handoff")
		if code, _, stderr := call("plan", jobs[i], "--out", out); code == exitInput {
			t.Fatal(stderr)
		}
		want[i] = readAll(t, out)
	}
	return jobs, want
}

// isOneOf tells which handoff a folder holds, file by file; -1 is neither.
func isOneOf(t *testing.T, dir string, want [2]map[string][]byte) int {
	t.Helper()
	have := readAll(t, dir)
	for i, files := range want {
		same := len(have) == len(files)
		for name, content := range files {
			same = same && bytes.Equal(have[name], content)
		}
		if same {
			return i
		}
	}
	return -1
}

func beside(t *testing.T, dir string) []string {
	t.Helper()
	entries, err := os.ReadDir(filepath.Dir(dir))
	if err != nil {
		t.Fatal(err)
	}
	var names []string
	for _, e := range entries {
		if e.Name() != filepath.Base(dir) {
			names = append(names, e.Name())
		}
	}
	return names
}

// What a run leaves when it cannot end, or is not alone.
func TestInterruptedRuns(t *testing.T) {
	jobs, want := twoJobs(t)
	for name, run := range map[string]func(*testing.T, [2]string, [2]map[string][]byte){
		"killed": killedRunsLeaveAWholeHandoff, "two runs": twoRunsIntoOneFolder,
		"file that cannot grow": fileThatCannotGrow,
		"full disk":             fullDisk, "read-only folder": readOnlyFolder,
	} {
		t.Run(name, func(t *testing.T) { run(t, jobs, want) })
	}
}

// kills is how many runs are killed; make kills sets 200.
func kills(t *testing.T) int {
	text := os.Getenv("KERF_KILLS")
	if text == "" {
		return 12
	}
	n, err := strconv.Atoi(text)
	if err != nil {
		t.Fatalf("KERF_KILLS: %v", err)
	}
	return n
}

// A run that is killed leaves the former handoff or its own, whole. Half of the
// runs are killed at any moment, the other half while the handoff is written,
// which begins when its draft shows.
func killedRunsLeaveAWholeHandoff(t *testing.T, jobs [2]string, want [2]map[string][]byte) {
	if runtime.GOOS != "linux" {
		t.Skip("elsewhere two renames leave a moment without a handoff: see package whole")
	}
	dir := filepath.Join(t.TempDir(), "handoff")
	began := time.Now()
	first := command(t, "plan", jobs[0], "--out", dir)
	ended := started(t, first)
	if !waitForDraft(t, dir, ended) {
		t.Fatal("no draft was seen")
	}
	wrote := time.Now()
	<-ended
	whole, writing := time.Since(began), time.Since(wrote)
	random := rand.New(rand.NewPCG(uint64(began.UnixNano()), 0)) // other moments in every run
	standing, replaced, inWriting := 0, 0, 0
	if isOneOf(t, dir, want) != 0 {
		t.Fatal("the first run gives another handoff")
	}
	n := kills(t)
	for i := range n {
		next := 1 - standing
		cmd := command(t, "plan", jobs[next], "--out", dir)
		ended := started(t, cmd)
		if i%2 == 0 {
			select {
			case <-ended:
			case <-time.After(time.Duration(random.Int64N(int64(whole)))):
			}
		} else if waitForDraft(t, dir, ended) {
			inWriting++
			time.Sleep(time.Duration(random.Int64N(int64(writing))))
		}
		cmd.Process.Kill()
		<-ended
		v, err := exporter.Verify(dir, version)
		if err != nil {
			t.Fatalf("kill %d: %v", i, err)
		}
		now := isOneOf(t, dir, want)
		if !v.Verified || now < 0 {
			t.Fatalf("kill %d: what is left is no handoff: %+v", i, v.Checks)
		}
		if now != standing {
			replaced++
		}
		standing = now
		removeDrafts(t, dir, i)
	}
	t.Logf("%d runs killed, %d of them while they wrote: %d left the new handoff, %d the former "+
		"one", n, inWriting, replaced, n-replaced)
	if out, _ := command(t, "plan", jobs[1], "--out", dir).CombinedOutput(); isOneOf(t, dir,
		want) != 1 {
		t.Errorf("the run after the kills: %s", out)
	}
	if left := beside(t, dir); len(left) > 0 {
		t.Errorf("the run after the kills leaves %v", left)
	}
	if inWriting == 0 {
		t.Error("no run was killed while it wrote")
	}
}

// started starts a program; the channel is closed when it has ended.
func started(t *testing.T, cmd *exec.Cmd) chan struct{} {
	t.Helper()
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	ended := make(chan struct{})
	go func() { cmd.Wait(); close(ended) }()
	return ended
}

// waitForDraft waits until a new draft stands beside dir; false: the run ended first.
func waitForDraft(t *testing.T, dir string, ended chan struct{}) bool {
	t.Helper()
	before := beside(t, dir)
	for {
		select {
		case <-ended:
			return false
		case <-time.After(200 * time.Microsecond):
			for _, name := range beside(t, dir) {
				if !slices.Contains(before, name) {
					return true
				}
			}
		}
	}
}

// removeDrafts removes what a killed run left, every second time: else the next run copes with it.
func removeDrafts(t *testing.T, dir string, i int) {
	t.Helper()
	if i%4 < 2 {
		return
	}
	for _, name := range beside(t, dir) {
		os.RemoveAll(filepath.Join(filepath.Dir(dir), name))
	}
}

// Two runs that write to one folder at one time leave one of the two handoffs.
func twoRunsIntoOneFolder(t *testing.T, jobs [2]string, want [2]map[string][]byte) {
	dir := filepath.Join(t.TempDir(), "handoff")
	for round := range 3 {
		var said [2]bytes.Buffer
		var runs [2]*exec.Cmd
		for i, job := range jobs {
			runs[i] = command(t, "plan", job, "--out", dir)
			runs[i].Stderr = &said[i]
			if err := runs[i].Start(); err != nil {
				t.Fatal(err)
			}
		}
		for i, run := range runs {
			if run.Wait(); said[i].Len() > 0 {
				t.Errorf("round %d: run %d says %s", round, i, said[i].String())
			}
		}
		if isOneOf(t, dir, want) < 0 {
			t.Errorf("round %d: a mixture", round)
		}
		if left := beside(t, dir); len(left) > 0 {
			t.Errorf("round %d leaves %v", round, left)
		}
	}
}

// failsAndKeeps runs kerf plan where it cannot write: exit code 2, one sentence,
// and what stood there stands.
func failsAndKeeps(t *testing.T, cmd *exec.Cmd, dir string, keeps map[string][]byte,
	reason string) {
	t.Helper()
	var stdout, stderr bytes.Buffer
	cmd.Stdout, cmd.Stderr = &stdout, &stderr
	cmd.Run()
	if code := cmd.ProcessState.ExitCode(); code != exitInput || stdout.Len() > 0 {
		t.Errorf("exit code %d, stdout %q", code, stdout.String())
	}
	if text := stderr.String(); !strings.Contains(text, "the folder cannot be written: "+reason) ||
		strings.Count(text, "\n") != 2 {
		t.Errorf("stderr %q, want the reason %q and a hint", text, reason)
	}
	if keeps != nil && isOneOf(t, dir, [2]map[string][]byte{keeps, keeps}) < 0 {
		t.Error("the former handoff is gone")
	}
	if left := beside(t, dir); len(left) > 0 {
		t.Errorf("left behind: %v", left)
	}
}

// A file that cannot be written to its end: a limit on the size of files does it everywhere.
func fileThatCannotGrow(t *testing.T, jobs [2]string, want [2]map[string][]byte) {
	dir := filepath.Join(t.TempDir(), "handoff")
	if out, _ := command(t, "plan", jobs[0], "--out", dir).CombinedOutput(); isOneOf(t, dir,
		want) != 0 {
		t.Fatalf("%s", out)
	}
	kerf := command(t)
	limited := exec.Command("sh", "-c", `trap "" XFSZ; ulimit -f 16; exec "$@"`, "sh",
		filepath.Join(linkTo(t, kerf.Path), "kerf"), "plan", jobs[1], "--out", dir)
	failsAndKeeps(t, limited, dir, want[0], "file too large")
}

// linkTo is a folder with the program under the name kerf, see TestMain.
func linkTo(t *testing.T, program string) string {
	t.Helper()
	dir := t.TempDir()
	if err := os.Symlink(program, filepath.Join(dir, "kerf")); err != nil {
		t.Fatal(err)
	}
	return dir
}

// mounted is a small file system of its own; it needs root and the right to mount.
func mounted(t *testing.T, options string) string {
	t.Helper()
	dir := t.TempDir()
	if out, err := exec.Command("mount", "-t", "tmpfs", "-o", options, "tmpfs",
		dir).CombinedOutput(); err != nil {
		t.Skipf("NOT CHECKED: no right to mount here (%v: %s)", err, bytes.TrimSpace(out))
	}
	t.Cleanup(func() {
		if out, err := exec.Command("umount", dir).CombinedOutput(); err != nil {
			t.Errorf("umount: %s", out)
		}
	})
	return dir
}

// A full disk: whatever room is left, the former handoff stands.
func fullDisk(t *testing.T, jobs [2]string, want [2]map[string][]byte) {
	disk := mounted(t, "size=4m")
	dir := filepath.Join(disk, "handoff")
	if out, _ := command(t, "plan", jobs[0], "--out", dir).CombinedOutput(); isOneOf(t, dir,
		want) != 0 {
		t.Fatalf("%s", out)
	}
	for _, room := range []int{0, 8, 64, 512} { // KiB; a handoff takes about 1000
		remount(t, disk, usedKiB(t, disk)+room)
		failsAndKeeps(t, command(t, "plan", jobs[1], "--out", dir), dir, want[0],
			"no space left on device")
		remount(t, disk, 4096)
	}
	if out, _ := command(t, "plan", jobs[1], "--out", dir).CombinedOutput(); isOneOf(t, dir,
		want) != 1 {
		t.Errorf("with room again: %s", out)
	}
}

func remount(t *testing.T, disk string, kib int) {
	t.Helper()
	if out, err := exec.Command("mount", "-o", fmt.Sprintf("remount,size=%dk", kib),
		disk).CombinedOutput(); err != nil {
		t.Fatalf("mount: %s", out)
	}
}

func usedKiB(t *testing.T, disk string) int {
	t.Helper()
	out, err := exec.Command("df", "-k", "--output=used", disk).Output()
	fields := strings.Fields(string(out))
	if err != nil || len(fields) != 2 {
		t.Fatalf("df: %v %s", err, out)
	}
	n, err := strconv.Atoi(fields[1])
	if err != nil {
		t.Fatal(err)
	}
	return n
}

// A folder in which nothing may be written.
func readOnlyFolder(t *testing.T, jobs [2]string, want [2]map[string][]byte) {
	if os.Getuid() == 0 { // whom permissions do not stop
		disk := mounted(t, "size=1m")
		dir := filepath.Join(disk, "handoff")
		if out, _ := command(t, "plan", jobs[0], "--out", dir).CombinedOutput(); isOneOf(t, dir,
			want) != 0 {
			t.Fatalf("%s", out)
		}
		if out, err := exec.Command("mount", "-o", "remount,ro", disk).CombinedOutput(); err !=
			nil {
			t.Fatalf("mount: %s", out)
		}
		failsAndKeeps(t, command(t, "plan", jobs[1], "--out", dir), dir, want[0],
			"read-only file system")
		return
	}
	parent := t.TempDir()
	dir := filepath.Join(parent, "handoff")
	if out, _ := command(t, "plan", jobs[0], "--out", dir).CombinedOutput(); isOneOf(t, dir,
		want) != 0 {
		t.Fatalf("%s", out)
	}
	if err := os.Chmod(parent, 0o555); err != nil {
		t.Fatal(err)
	}
	defer os.Chmod(parent, 0o755)
	failsAndKeeps(t, command(t, "plan", jobs[1], "--out", dir), dir, want[0], "permission denied")
}

package main

import (
	"bytes"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// The same job gives the same bytes, wherever and on however many cores it runs,
// in whatever language and time zone.
func TestSameInSameOut(t *testing.T) {
	job, dir := cityHandoff(t)
	want := readAll(t, dir)
	for name, c := range map[string]struct {
		cwd, out string
		env      []string
	}{
		"one core":    {filepath.Dir(job), "one", []string{"GOMAXPROCS=1"}},
		"eight cores": {t.TempDir(), "eight", []string{"GOMAXPROCS=8"}},
		"another language": {"/", "comma",
			[]string{"LC_ALL=de_DE.UTF-8", "LANG=de_DE.UTF-8", "TZ=Pacific/Chatham"}},
		"a small garbage limit": {filepath.Dir(job), "small", []string{"GOGC=5"}},
	} {
		t.Run(name, func(t *testing.T) {
			out := filepath.Join(t.TempDir(), c.out)
			cmd := command(t, "plan", job, "--out", out)
			cmd.Dir, cmd.Env = c.cwd, append(os.Environ(), c.env...)
			if said, err := cmd.CombinedOutput(); err != nil {
				t.Fatalf("%v: %s", err, said)
			}
			got := readAll(t, out)
			if len(got) != len(want) {
				t.Errorf("%d files, want %d", len(got), len(want))
			}
			for file := range want {
				if !bytes.Equal(got[file], want[file]) {
					t.Errorf("%s differs", file)
				}
			}
		})
	}
}

// Nothing in a handoff tells where, by whom or on which machine it was made.
func TestOutputsNameNoMachine(t *testing.T) {
	job := cityJob(t, func(job string) string { return job })
	home := filepath.Join(t.TempDir(), "home-of-someone")
	host, err := os.Hostname()
	if err != nil {
		t.Fatal(err)
	}
	dir := filepath.Join(t.TempDir(), "handoff")
	cmd := command(t, "plan", job, "--out", dir)
	cmd.Env = append(os.Environ(), "HOME="+home, "USER=someone-at-work", "LOGNAME=someone-at-work",
		"SECRET_TOKEN=kept-to-itself")
	stdout, err := cmd.Output()
	if err != nil {
		t.Fatal(err)
	}
	here, err := os.Getwd()
	if err != nil {
		t.Fatal(err)
	}
	files := readAll(t, dir)
	files["stdout"] = bytes.ReplaceAll(stdout, []byte(dir), nil) // as the user gave it
	for name, content := range files {
		for _, word := range []string{here, filepath.Dir(job), dir, os.TempDir() + "/", home,
			"someone-at-work", "kept-to-itself"} {
			if bytes.Contains(content, []byte(word)) {
				t.Errorf("%s holds %q", name, word)
			}
		}
		if len(host) > 4 && bytes.Contains(content, []byte(host)) {
			t.Errorf("%s holds the name of the host, %q", name, host)
		}
	}
}

// Files and folders have the permissions that the user's umask leaves.
func TestPermissionsFollowTheUmask(t *testing.T) {
	job := cityJob(t, func(job string) string { return job })
	bin := linkTo(t, command(t).Path)
	for umask, want := range map[string][2]fs.FileMode{"022": {0o755, 0o644},
		"027": {0o750, 0o640}} {
		dir := filepath.Join(t.TempDir(), "handoff")
		script := "umask " + umask + `; exec "$@"`
		if out, err := exec.Command("sh", "-c", script, "sh", filepath.Join(bin, "kerf"), "plan",
			job, "--out", dir).CombinedOutput(); err != nil {
			t.Fatalf("%v: %s", err, out)
		}
		info, err := os.Stat(dir)
		if err != nil {
			t.Fatal(err)
		}
		if info.Mode().Perm() != want[0] {
			t.Errorf("umask %s: the folder has %v, want %v", umask, info.Mode().Perm(), want[0])
		}
		entries, err := os.ReadDir(dir)
		if err != nil {
			t.Fatal(err)
		}
		for _, e := range entries {
			info, err := e.Info()
			if err != nil {
				t.Fatal(err)
			}
			if info.Mode().Perm() != want[1] {
				t.Errorf("umask %s: %s has %v, want %v", umask, e.Name(), info.Mode().Perm(),
					want[1])
			}
		}
	}
}

// kerf opens no socket: in a process that is killed if it tries, it does all it does.
func TestNoNetwork(t *testing.T) {
	bin := linkTo(t, command(t).Path)
	guard := filepath.Join(bin, guardName)
	if err := os.Symlink(command(t).Path, guard); err != nil {
		t.Fatal(err)
	}
	if out, err := exec.Command(guard, "dial").CombinedOutput(); err == nil ||
		!strings.Contains(err.Error(), "bad system call") {
		t.Skipf("NOT CHECKED: sockets cannot be denied here (%v): %s", err, out)
	}
	job := cityJob(t, func(job string) string { return job })
	dir := filepath.Join(t.TempDir(), "handoff")
	for _, args := range [][]string{
		{"plan", job, "--out", dir}, {"verify", dir}, {"rank", job}, {"observe", job},
		{"explain", dir}, {"show", dir, "--format", "markdown"}, {"cost", job, "--all-targets"},
		{"targets", "list"}, {"--help"},
	} {
		if out, err := exec.Command(guard,
			append([]string{filepath.Join(bin, "kerf")}, args...)...).CombinedOutput(); err != nil {
			t.Errorf("kerf %s: %v: %s", args[0], err, out)
		}
	}
}

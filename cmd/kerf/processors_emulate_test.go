//go:build emulate

package main

import (
	"bytes"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"syscall"
	"testing"
)

// The handoff has the same bytes on every processor: kerf is built for 386 and
// arm64 and run by an emulator (Debian package qemu-user). The demo runs on 386,
// whose instructions an amd64 machine runs itself where its kernel lets it; on arm64, ten times
// slower, the open data set does, also with recovery training, and package portable's own test.
func TestEmulatedProcessorsGiveTheSameBytes(t *testing.T) {
	city, err := filepath.Abs(filepath.Join("..", "..", "testdata", "cityweather", "job.toml"))
	if err != nil {
		t.Fatal(err)
	}
	trained := filepath.Join(t.TempDir(), "cityweather")
	if err := os.CopyFS(trained, os.DirFS(filepath.Dir(city))); err != nil {
		t.Fatal(err)
	}
	trained = filepath.Join(trained, "job.toml")
	job, err := os.ReadFile(trained)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(trained, append(job, "\n[recovery]\nepochs = 2\n"...), 0o644); err !=
		nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		name           string
		arch, emulator string
		args           []string // the folder follows
		handoff        string   // in the folder
	}{
		{"open data", "arm64", "qemu-aarch64", []string{"plan", city, "--out"}, ""},
		{"open data", "386", "qemu-i386", []string{"plan", city, "--out"}, ""},
		{"recovery", "arm64", "qemu-aarch64", []string{"plan", trained, "--out"}, ""},
		{"recovery", "386", "", []string{"plan", trained, "--out"}, ""},
		{"demo", "386", "", []string{"demo", "--out"}, "handoff"},
	} {
		t.Run(c.arch+" "+c.name, func(t *testing.T) {
			t.Parallel()
			here, there := filepath.Join(t.TempDir(), "here"), filepath.Join(t.TempDir(), "there")
			if code, _, stderr := call(append(c.args, here)...); code == exitInput {
				t.Fatal(stderr)
			}
			command := append([]string{buildFor(t, c.arch, "build", "-o")}, c.args...)
			command = append(command, there)
			if c.emulator != "" {
				command = append([]string{c.emulator}, command...)
			}
			cmd := exec.Command(command[0], command[1:]...)
			cmd.Env = calm()
			out, err := cmd.CombinedOutput()
			if errors.Is(err, syscall.ENOEXEC) { // a kernel without programs of 32 bits
				cmd = exec.Command("qemu-i386", command...)
				cmd.Env = calm()
				out, err = cmd.CombinedOutput()
			}
			if errors.Is(err, exec.ErrNotFound) {
				t.Fatalf("%v: install the Debian package qemu-user", err)
			}
			if err != nil && (cmd.ProcessState == nil ||
				cmd.ProcessState.ExitCode() != exitBroken) {
				t.Fatalf("%v: %s", err, out)
			}
			want, got := readAll(t, filepath.Join(here, c.handoff)),
				readAll(t, filepath.Join(there, c.handoff))
			if len(got) != len(want) || len(want) == 0 {
				t.Errorf("%d files, want %d", len(got), len(want))
			}
			for name := range want {
				if !bytes.Equal(got[name], want[name]) {
					t.Errorf("%s differs", name)
				}
			}
		})
	}
}

// The bits of exp, tanh, log and of factorised matrices, against the digest that package portable's
// test holds.
func TestEmulatedPortableBits(t *testing.T) {
	for arch, emulator := range map[string]string{"arm64": "qemu-aarch64", "386": "qemu-i386"} {
		test := buildFor(t, arch, "test", "-c", "-o")
		cmd := exec.Command(emulator, test, "-test.run", "TestBitsAreTheSameEverywhere")
		cmd.Env = calm()
		if out, err := cmd.CombinedOutput(); err != nil {
			t.Errorf("%s: %v: %s", arch, err, out)
		}
	}
}

// calm keeps Go's scheduler from sending signals to threads, which qemu-i386 takes on the wrong
// stack ("morestack on gsignal").
func calm() []string { return append(os.Environ(), "GODEBUG=asyncpreemptoff=1") }

// buildFor compiles kerf, or with "test" the test of package portable, for another processor.
func buildFor(t *testing.T, arch string, args ...string) string {
	t.Helper()
	binary := filepath.Join(t.TempDir(), "program")
	folder := "."
	if args[0] == "test" {
		folder = "../../portable"
	}
	build := exec.Command("go", append(append(args, binary), folder)...)
	build.Env = append(os.Environ(), "GOOS=linux", "GOARCH="+arch, "CGO_ENABLED=0")
	if out, err := build.CombinedOutput(); err != nil {
		t.Fatalf("go %s for %s: %v: %s", args[0], arch, err, out)
	}
	return binary
}

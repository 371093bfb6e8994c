package exporter

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"time"

	"kerf/fault"
)

// hostCompilers are the names of compilers for this machine, tried in this order.
var hostCompilers = []string{"cc", "gcc", "clang"}

// selftestTime ends a compiler or a program that hangs; compiling and running take seconds.
const selftestTime = 5 * time.Minute

// RunSelftest compiles the C of the handoff with the compiler of this machine and runs its
// self-test. C that is not exactly what kerf emits is not run. An error says that there is no place
// to compile in.
func (v *Verification) RunSelftest(ctx context.Context) error {
	c := Check{What: "self-test in C"}
	compiler := ""
	for _, name := range hostCompilers {
		if path, err := exec.LookPath(name); err == nil && compiler == "" {
			compiler = path
		}
	}
	switch {
	case !v.emitted:
		c.skip("not run: the C is not what this kerf emits")
	case compiler == "":
		c.skip("not run: none of the compilers " + strings.Join(hostCompilers, ", ") + " is here")
		c.spared = true // the C is what kerf emits, and the self-test in Go runs the same steps
	default:
		dir, err := os.MkdirTemp("", "kerf-verify-")
		if err != nil {
			return err
		}
		defer os.RemoveAll(dir)
		ctx, cancel := context.WithTimeout(ctx, selftestTime)
		defer cancel()
		if c.Detail, err = v.compileAndRun(ctx, compiler, dir); err != nil {
			c.Findings = []Finding{{v.Name + "_selftest.c", err.Error()}}
		}
	}
	v.Add(c)
	return nil
}

// compileAndRun compiles copies of the files that were checked in a folder of its own, and returns
// the compiler with the first line that the self-test prints.
func (v *Verification) compileAndRun(ctx context.Context, compiler,
	dir string) (said string, err error) {
	for name, content := range v.files {
		if strings.HasSuffix(name, ".c") || strings.HasSuffix(name, ".h") {
			if err := os.WriteFile(filepath.Join(dir, name), content, 0o644); err != nil {
				return "", err
			}
		}
	}
	program := filepath.Join(dir, "selftest")
	args := []string{"-std=c99", "-O1", v.Name + ".c", v.Name + "_selftest.c", "-o", program}
	if front := v.Name + "_front.c"; v.files[front] != nil {
		args = append(args, front)
	}
	build := exec.CommandContext(ctx, compiler, args...)
	build.Dir = dir
	if out, err := build.CombinedOutput(); err != nil {
		return "", fault.New(fmt.Sprintf("%s does not compile it: %s", filepath.Base(compiler),
			firstLine(out, err)), "").From(err)
	}
	out, err := exec.CommandContext(ctx, program).CombinedOutput()
	if err != nil {
		return "", fault.New("it fails: "+firstLine(out, err), "").From(err)
	}
	return filepath.Base(compiler) + ": " + firstLine(out, nil), nil
}

// firstLine returns the first line that a program printed, or why it printed nothing.
func firstLine(out []byte, err error) string {
	line, _, _ := strings.Cut(strings.TrimSpace(string(out)), "\n")
	if line == "" && err != nil {
		return err.Error()
	}
	return line
}

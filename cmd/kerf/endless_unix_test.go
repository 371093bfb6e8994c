//go:build unix

package main

import (
	"bytes"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"golang.org/x/sys/unix"

	"kerf/exporter/report"
)

// zeros has no end.
type zeros struct{}

func (zeros) Read(p []byte) (int, error) {
	clear(p)
	return len(p), nil
}

// Named pipes, devices and files beyond the limit are refused wherever a sign-off, a job or
// measurements are read.
func TestInputsWithoutEnd(t *testing.T) {
	dir := t.TempDir()
	pipe := filepath.Join(dir, "pipe")
	if err := unix.Mkfifo(pipe, 0o644); err != nil {
		t.Fatal(err)
	}
	handoff := func(name string) string {
		folder := filepath.Join(dir, name)
		if err := os.Mkdir(folder, 0o755); err != nil {
			t.Fatal(err)
		}
		return folder
	}
	piped, endless, large := handoff("piped"), handoff("endless"), handoff("large")
	for folder, to := range map[string]string{piped: pipe, endless: "/dev/zero"} {
		if err := os.Symlink(to, filepath.Join(folder, "signoff.json")); err != nil {
			t.Fatal(err)
		}
	}
	rewrite(t, filepath.Join(large, "signoff.json"),
		bytes.Repeat([]byte("{},"), report.MaxJSONBytes/3+1))

	const notRegular, tooLarge = "it is no regular file",
		"it has more than the 8388608 bytes allowed"
	type attempt struct {
		args []string
		want string
	}
	attempts := []attempt{
		{[]string{"plan", pipe}, notRegular},
		{[]string{"cost", "/dev/zero"}, notRegular},
		{[]string{"targets", "fit", "cortex-m4f", pipe}, notRegular},
		{[]string{"targets", "fit", "cortex-m4f", "/dev/zero"}, notRegular},
		{[]string{"targets", "fit", "cortex-m4f", "-"}, tooLarge},
		{[]string{"show", "-"}, tooLarge},
	}
	for folder, want := range map[string]string{piped: notRegular, endless: notRegular,
		large: tooLarge} {
		attempts = append(attempts, attempt{[]string{"show", folder}, want},
			attempt{[]string{"compare", folder, folder}, want},
			attempt{[]string{"explain", filepath.Join(folder, "signoff.json")}, want},
			attempt{[]string{"measure", folder}, want})
	}
	for _, a := range attempts {
		var stderr bytes.Buffer
		code := run(a.args, zeros{}, io.Discard, &stderr)
		if code != exitInput || !strings.Contains(stderr.String(), a.want) ||
			!strings.Contains(stderr.String(), "kerf: hint: ") {
			t.Errorf("kerf %s: exit code %d: %s", strings.Join(a.args, " "), code, stderr.String())
		}
	}
}

//go:build unix

package benchscore

import (
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"

	"kerf/testdata/smallest"
)

// BenchmarkPlan runs kerf plan on jobs with random weights, and reports its processor time on all
// cores in passes: of a general-purpose tensor library, forward over the selection recordings, one
// thread, the fastest of five before and five after the plan. It also reports its peak of resident
// memory, and what is allowed of that: 64 MiB and twice the recordings as float64.
func BenchmarkPlan(b *testing.B) {
	kerf := filepath.Join(b.TempDir(), "kerf")
	if out, err := exec.Command("go", "build", "-o", kerf, "kerf/cmd/kerf").CombinedOutput(); err !=
		nil {
		b.Fatalf("%v: %s", err, out)
	}
	for _, job := range smallest.Speeds {
		b.Run(job.Name(), func(b *testing.B) {
			folder := b.TempDir()
			if err := job.Write(folder); err != nil {
				b.Fatal(err)
			}
			pass := torchPass(b, job.Features, job.Units, job.Steps)
			var usage *syscall.Rusage
			var seconds float64
			for b.Loop() {
				plan := exec.Command(kerf, "plan", filepath.Join(folder, "job.toml"))
				if err := plan.Run(); plan.ProcessState == nil ||
					plan.ProcessState.ExitCode() > 1 {
					b.Fatal(err)
				}
				usage = plan.ProcessState.SysUsage().(*syscall.Rusage)
				seconds = (plan.ProcessState.UserTime() +
					plan.ProcessState.SystemTime()).Seconds()
			}
			pass = min(pass, torchPass(b, job.Features, job.Units, job.Steps))
			const mebibyte = 1 << 20
			recorded := float64(job.Steps+job.Steps/4) * float64(job.Features+2) * 8
			b.ReportMetric(seconds/pass, "passes")
			b.ReportMetric(seconds, "s-processor")
			b.ReportMetric(pass, "s-pass")
			b.ReportMetric(float64(usage.Maxrss)/1024, "MiB-peak") // in KiB on Linux
			b.ReportMetric(64+2*recorded/mebibyte, "MiB-allowed")
			b.ReportMetric(0, "ns/op")
		})
	}
}

// torchPass returns the processor time of a pass in seconds.
func torchPass(b *testing.B, features, units, steps int) float64 {
	b.Helper()
	out, err := exec.Command("/usr/bin/python3", "torch_pass.py", strconv.Itoa(features),
		strconv.Itoa(units), strconv.Itoa(steps)).Output()
	if err != nil {
		b.Skip("not measured: needs the Debian packages python3-torch and libopenblas0-pthread")
	}
	seconds, err := strconv.ParseFloat(strings.TrimSpace(string(out)), 64)
	if err != nil {
		b.Fatal(err)
	}
	return seconds
}

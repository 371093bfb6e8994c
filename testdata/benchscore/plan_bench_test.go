//go:build linux

package benchscore

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

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
			var peak, seconds float64
			for b.Loop() {
				plan := exec.Command(kerf, "plan", filepath.Join(folder, "job.toml"))
				if err := plan.Start(); err != nil {
					b.Fatal(err)
				}
				ended := make(chan error)
				go func() { ended <- plan.Wait() }()
				peak = peakOf(plan.Process.Pid, ended)
				if plan.ProcessState.ExitCode() > 1 {
					b.Fatal(plan.ProcessState)
				}
				seconds = (plan.ProcessState.UserTime() +
					plan.ProcessState.SystemTime()).Seconds()
			}
			pass = min(pass, torchPass(b, job.Features, job.Units, job.Steps))
			const mebibyte = 1 << 20
			recorded := float64(job.Steps+job.Steps/4) * float64(job.Features+2) * 8
			b.ReportMetric(seconds/pass, "passes")
			b.ReportMetric(seconds, "s-processor")
			b.ReportMetric(pass, "s-pass")
			b.ReportMetric(peak, "MiB-peak")
			b.ReportMetric(64+2*recorded/mebibyte, "MiB-allowed")
			b.ReportMetric(0, "ns/op")
		})
	}
}

// peakOf returns the most resident memory of a process until it has ended, in MiB. What wait4 says
// of it begins with the peak of the process that started it.
func peakOf(process int, ended <-chan error) (peak float64) {
	for {
		select {
		case <-ended:
			return peak
		case <-time.After(10 * time.Millisecond):
		}
		status, _ := os.ReadFile(fmt.Sprintf("/proc/%d/status", process))
		var size float64
		_, line, _ := strings.Cut(string(status), "VmHWM:")
		if n, _ := fmt.Sscan(line, &size); n == 1 {
			peak = max(peak, size/1024) // in KiB
		}
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

package main

import (
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// On arm64 the Go compiler may fuse a product with the sum that follows it, which
// rounds once instead of twice; an explicit conversion forbids it (Go
// specification, "Floating-point operators"). Figures must not depend on the
// machine, so no function of ours may hold a fused instruction there.
func TestNoFusedMultiplyAdd(t *testing.T) {
	binary := filepath.Join(t.TempDir(), "kerf-arm64")
	build := exec.Command("go", "build", "-o", binary, ".")
	build.Env = append(build.Environ(), "GOOS=linux", "GOARCH=arm64", "CGO_ENABLED=0")
	if out, err := build.CombinedOutput(); err != nil {
		t.Fatalf("go build for arm64: %v\n%s", err, out)
	}
	listing, err := exec.Command("go", "tool", "objdump", "-s", "^kerf/", binary).Output()
	if err != nil {
		t.Fatal(err)
	}
	fused := regexp.MustCompile(`\bFN?M(ADD|SUB)[SD]\b`)
	function, functions := "", 0
	for line := range strings.Lines(string(listing)) {
		if strings.HasPrefix(line, "TEXT ") {
			function = strings.Fields(line)[1]
			functions++
			continue
		}
		if fused.MatchString(line) {
			t.Errorf("%s: %s", function, strings.Join(strings.Fields(line), " "))
		}
	}
	if functions < 200 {
		t.Errorf("only %d functions seen: is the listing what it should be?", functions)
	}
}

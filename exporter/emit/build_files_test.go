package emit

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"kerf/testdata/randomnet"
)

// The fragments build a handoff in a folder with a blank (CMake) with the options of the chosen
// target, for a target with weights in RAM and plain C, with the float interface and without; the
// self-test passes. A target that the job does not have is refused.
func TestBuildFragments(t *testing.T) {
	for tool, pkg := range map[string]string{"cmake": "cmake", "make": "make", "gcc": "gcc"} {
		if _, err := exec.LookPath(tool); err != nil {
			t.Fatalf("%s is not installed: install the Debian package %s", tool, pkg)
		}
	}
	n := randomnet.All()[0]
	program := randomProgram(t, randomnet.Seeded(7), n)
	all := []BuildTarget{{Name: "host", Optimise: "-O1 -fno-tree-ter", Compiler: "GCC 12.2.1"},
		{Name: "copied", Optimise: "-O2", InRAM: true, Portable: true}}
	for _, targets := range [][]BuildTarget{all, nil} {
		dir := filepath.Join(t.TempDir(), "hand off")
		for _, d := range []string{dir, filepath.Join(filepath.Dir(dir), "handoff")} {
			if err := os.MkdirAll(d, 0o755); err != nil {
				t.Fatal(err)
			}
			writeC(t, program, d)
			for name, text := range program.BuildFiles(targets) {
				if err := os.WriteFile(filepath.Join(d, name), text, 0o644); err != nil {
					t.Fatal(err)
				}
			}
		}
		names := []string{""}
		for _, b := range targets {
			names = append(names, b.Name)
		}
		for _, name := range names {
			withFloat := name != "host"
			t.Run(fmt.Sprintf("of %d: %q, float %v", len(targets), name, withFloat),
				func(t *testing.T) {
					options, said := cmakeBuild(t, dir, name, withFloat)
					saidByMake := makeBuild(t, filepath.Join(filepath.Dir(dir), "handoff"), name,
						withFloat)
					checkSaid(t, said, name == "" && targets != nil)
					checkSaid(t, saidByMake, name == "" && targets != nil)
					for _, b := range targets {
						if b.Name == name &&
							(!strings.Contains(options, b.Optimise) ||
								strings.Contains(options, "WEIGHTS_IN_RAM") != b.InRAM ||
								strings.Contains(options, "LEAKAIR_PORTABLE") != b.Portable) {
							t.Errorf("compiled with %s", options)
						}
					}
				})
		}
		if out, err := exec.Command("cmake", "-S", cmakeProject(t, dir, "other", false), "-B",
			t.TempDir()).CombinedOutput(); err == nil ||
			!strings.Contains(string(out), "none of the job's targets") {
			t.Errorf("CMake took an unknown target: %v\n%s", err, out)
		}
		if out, err := makeCommand(filepath.Join(filepath.Dir(dir), "handoff"), t.TempDir(),
			"other", false).CombinedOutput(); err == nil ||
			!strings.Contains(string(out), "none of the job's targets") {
			t.Errorf("make took an unknown target: %v\n%s", err, out)
		}
	}
}

// checkSaid checks whether a build says in one line which options are not applied.
func checkSaid(t *testing.T, output string, want bool) {
	t.Helper()
	const line = "leakair: the sign-off holds for GCC 12.2.1 -O1 -fno-tree-ter on host; GCC -O2 " +
		"-DLEAKAIR_PORTABLE on copied; without LEAKAIR_TARGET these options are not applied\n"
	if strings.Contains(output, line) != want || strings.Contains(output, "not applied") != want {
		t.Errorf("said that options are not applied: want %v\n%s", want, output)
	}
}

// caller is firmware that uses the library, and what -DNAME_WITH_FLOAT adds.
const caller = `#include "leakair.h"
static leakair_state state;
int main(void)
{
    static int16_t x[LEAKAIR_N_FEATURES] LEAKAIR_ALIGNED;
    int32_t y[LEAKAIR_N_OUTPUTS];
#ifdef LEAKAIR_WITH_FLOAT
    static float physical[LEAKAIR_N_FEATURES];
    leakair_encode(physical, x);
#endif
    leakair_reset(&state);
    leakair_step(&state, x, y);
    return 0;
}
`

func cmakeProject(t *testing.T, handoff, target string, withFloat bool) string {
	t.Helper()
	dir := t.TempDir()
	float := "OFF"
	if withFloat {
		float = "ON"
	}
	project := fmt.Sprintf("cmake_minimum_required(VERSION 3.13)\nproject(firmware "+
		"C)\nset(LEAKAIR_TARGET %q)\nset(LEAKAIR_WITH_FLOAT "+
		"%s)\ninclude(%q)\nadd_executable(firmware main.c)\ntarget_link_libraries(firmware "+
		"PRIVATE leakair)\n", target, float, filepath.Join(handoff, "leakair.cmake"))
	for name, text := range map[string]string{"CMakeLists.txt": project, "main.c": caller} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	return dir
}

// cmakeBuild builds and runs a project, and returns the commands that compiled the library, and
// what CMake said before that.
func cmakeBuild(t *testing.T, handoff, target string, withFloat bool) (commands, said string) {
	t.Helper()
	build := t.TempDir()
	out, err := exec.Command("cmake", "-S", cmakeProject(t, handoff, target, withFloat), "-B",
		build, "-DCMAKE_EXPORT_COMPILE_COMMANDS=ON").CombinedOutput()
	if err != nil {
		t.Fatalf("cmake: %v\n%s", err, out)
	}
	compile(t, build, "cmake", "--build", build, "--target", "firmware", "leakair_selftest")
	compile(t, build, "./firmware")
	compile(t, build, "./leakair_selftest")
	database, err := os.ReadFile(filepath.Join(build, "compile_commands.json"))
	if err != nil {
		t.Fatal(err)
	}
	return string(database), string(out)
}

const makefile = `include $(HANDOFF)/leakair.mk
firmware: main.c $(LEAKAIR_SOURCES) $(LEAKAIR_HEADERS)
	$(CC) $(CPPFLAGS) $(LEAKAIR_CPPFLAGS) $(CFLAGS) $(LEAKAIR_CFLAGS) -o $@ main.c $(LEAKAIR_SOURCES)
selftest: $(LEAKAIR_SELFTEST_SOURCES) $(LEAKAIR_SOURCES)
	$(CC) $(CPPFLAGS) $(LEAKAIR_CPPFLAGS) $(CFLAGS) $(LEAKAIR_CFLAGS) -o $@ $^
`

func makeCommand(handoff, dir, target string, withFloat bool) *exec.Cmd {
	// make says so if it is missing
	os.WriteFile(filepath.Join(dir, "Makefile"), []byte(makefile), 0o644)
	os.WriteFile(filepath.Join(dir, "main.c"), []byte(caller), 0o644)
	flags := ""
	if withFloat {
		flags = "-DLEAKAIR_WITH_FLOAT"
	}
	cmd := exec.Command("make", "HANDOFF="+handoff, "LEAKAIR_TARGET="+target, "CPPFLAGS="+flags,
		"CFLAGS=-Wall -Werror", "firmware", "selftest")
	cmd.Dir = dir
	return cmd
}

// makeBuild builds and runs a project, and returns what Make printed.
func makeBuild(t *testing.T, handoff, target string, withFloat bool) string {
	t.Helper()
	dir := t.TempDir()
	out, err := makeCommand(handoff, dir, target, withFloat).CombinedOutput()
	if err != nil {
		t.Fatalf("make: %v\n%s", err, out)
	}
	compile(t, dir, "./firmware")
	compile(t, dir, "./selftest")
	return string(out)
}

// Names and options of a user's own profile cannot add anything to a build file.
func TestHostileTextsStayOutOfBuildFiles(t *testing.T) {
	if got := buildName.ReplaceAllString("m4\")\nexecute_process(COMMAND $(shell id)",
		"_"); strings.ContainsAny(got, "\"$() \n") {
		t.Errorf("name %q", got)
	}
	got, dropped := plainOptions("-O2 $(shell id) -DX=\"1\" `id` -mcpu=cortex-m4 -Wl,-Map")
	if got != "-O2 -mcpu=cortex-m4 -Wl,-Map" ||
		!slices.Equal(dropped, []string{"$(shell", "id)", "-DX=\"1\"", "`id`"}) {
		t.Errorf("options %q, left out %q", got, dropped)
	}
	comment := targetComment([]BuildTarget{{Name: "m4", Core: "-mthumb",
		Dropped: []string{"-DX=\"1\"", "\\"}}})
	for _, line := range []string{`# Left out for m4, as build files could misread it: "-DX=\"1\""`,
		`# Left out for m4, as build files could misread it: "\\"`} {
		if !strings.Contains(comment, line+"\n") {
			t.Errorf("no line %s in %s", line, comment)
		}
	}
}

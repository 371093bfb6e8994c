package measure

import (
	"embed"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
)

// board holds the C, start code and linker scripts of the emulated board.
//
//go:embed board
var board embed.FS

// Files of the scratch folder.
const (
	networkObject = "network.o"
	emptyImage    = "empty.elf"  // start code and an empty main
	staticImage   = "static.elf" // the same with the network and one state, nothing that calls it
	runImage      = "run.elf"    // runs steps
)

// paintSlack is how many bytes of stack are painted below the deepest chain of calls: a step that
// changes one of them proves the chain wrong. Our choice.
const paintSlack = 64

// networkHeader returns network.h, all that board/main.c knows of the network. paint is the number
// of bytes of stack to paint. Integer and float networks have inputs and outputs of different
// types.
func (s *session) networkHeader(paint int) string {
	in, out, float := "int16_t", "int32_t", 0
	if s.options.Float {
		in, out, float = "float", "float", 1
	}
	upper := strings.ToUpper(s.name)
	return fmt.Sprintf(`#include "%[1]s.h"
typedef %[1]s_state network_state;
typedef %[3]s network_input;
typedef %[4]s network_output;
#define network_reset %[1]s_reset
#define network_step %[1]s_step
#define NETWORK_FEATURES %[2]s_N_FEATURES
#define NETWORK_OUTPUTS %[2]s_N_OUTPUTS
#define NETWORK_FLOAT %[5]d
#define NETWORK_STEPS %[6]dU
#define NETWORK_PAINT %[7]dU
`, s.name, upper, in, out, float, s.options.Steps, paint)
}

// unpack writes the files of the board into the scratch folder.
func (s *session) unpack() error {
	files, err := fs.Sub(board, "board")
	if err != nil {
		return err
	}
	if err := os.CopyFS(s.dir, files); err != nil {
		return err
	}
	return s.writeHeader(s.networkHeader(0))
}

// writeHeader writes network.h into the scratch folder.
func (s *session) writeHeader(text string) error {
	return os.WriteFile(filepath.Join(s.dir, "network.h"), []byte(text), 0o644)
}

// gcc runs the cross compiler with the flags of profile, toolchain and options; what names the
// task in an error.
func (s *session) gcc(what string, args ...string) error {
	flags := append(strings.Fields(s.profile.CompilerFlags), s.flags...)
	flags = append(flags, s.options.Flags...)
	flags = append(flags, "-std=c99", "-I"+s.source, "-I.")
	_, err := s.output(what, s.prefix+"gcc", append(flags, args...)...)
	return err
}

// compileNetwork compiles the network. The compiler writes its account of the stack (file .su)
// beside the object.
func (s *session) compileNetwork() error {
	args := append(strings.Fields(s.options.Optimise), "-fstack-usage", "-c",
		filepath.Join(s.source, s.name+".c"), "-o", networkObject)
	return s.gcc("compile "+s.name+".c", args...)
}

// linkImage makes a program from sources and objects, with start code and memory of the board.
func (s *session) linkImage(image string, parts ...string) error {
	symbols := fmt.Sprintf("-Wl,--defsym=CODE=%#x,--defsym=RAM=%#x,--defsym=STACK_TOP=%#x", s.code,
		s.ram, s.stack)
	args := []string{"-O2", "-nostartfiles", "-Wl,--no-gc-sections",
		fmt.Sprintf("-DSTACK_TOP=%#x", s.stack), symbols, "-T", s.script}
	args = append(args, s.link...)
	args = append(args, parts...)
	return s.gcc("link "+image, append(args, s.start, "-lm", "-o", image)...)
}

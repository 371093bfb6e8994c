package measure

import (
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
)

// The instructions of a step depend on the data only where values saturate or leave a table. An
// attack is a sequence of inputs that starts from a zero state. The search starts with random
// attacks, keeps the one with the longest step, and goes on from changed copies of it. All figures
// are our choice.
const (
	attackSteps   = 8  // steps of an attack
	attacksAtOnce = 24 // attacks in one program, as far as attackTable holds them
	// attackTable bounds the inputs in one program, in bytes: the smallest emulated core has so
	// much RAM beside the network.
	attackTable       = 4096
	attackGenerations = 8 // programs, at most
	// attackWork is the number of executed instructions after which no further program is made: it
	// takes about two seconds.
	attackWork = 16 << 20
)

// LongestStep is the longest step that the search found. It is no proof that no step takes longer.
type LongestStep struct {
	Cycles float64
	Steps  int // number of steps that the search ran
}

// StepTimes says in a clause for people how far the cycles of a step depend on the data, as far as
// is known. It needs the result of a search (Options.Search).
func (r *Result) StepTimes() string {
	drawn, searched := len(r.Cycles), r.Longest.Steps
	if r.MinCycles() == r.Longest.Cycles {
		return fmt.Sprintf("every one of %d steps takes the same cycles, %d of them by a search "+
			"for the longest", drawn+searched, searched)
	}
	return fmt.Sprintf("the time depends on the data: %d steps on drawn inputs take %v to %v "+
		"cycles, on average %.0f; of %d steps of a search for bad inputs the longest takes %v",
		drawn, r.MinCycles(), r.MaxCycles(), r.MeanCycles(), searched, r.Longest.Cycles)
}

// searchLongest runs attacks in further programs around the compiled network and sets r.Longest. It
// ends early where neither drawn inputs nor the first attacks change the time.
func (s *session) searchLongest(r *Result) error {
	features, err := s.features()
	if err != nil {
		return err
	}
	count := min(max(attackTable/(attackSteps*features*2), 1), attacksAtOnce)
	random := rand.New(rand.NewPCG(1, 0))
	found := &LongestStep{Cycles: r.MaxCycles()}
	var best [][]int16
	bestCycles, instructions := 0.0, int64(0)
	for generation := 0; generation < attackGenerations && instructions < attackWork; generation++ {
		var table [][]int16
		for range count {
			table = append(table, attackOn(random, best, features)...)
		}
		tried, err := s.runTable(table)
		if err != nil {
			return err
		}
		found.Steps += len(tried.Cycles)
		found.Cycles = max(found.Cycles, tried.MaxCycles())
		if generation == 0 && tried.IsConstantTime() && tried.MaxCycles() == r.MaxCycles() &&
			r.IsConstantTime() {
			break
		}
		if longest := tried.MaxCycles(); longest > bestCycles {
			first := slices.Index(tried.Cycles, longest) / attackSteps * attackSteps
			best, bestCycles = table[first:first+attackSteps], longest
		}
		for _, n := range tried.Instructions {
			instructions += n
		}
		s.measured()
	}
	r.Longest = found
	return nil
}

// attackOn returns a copy of an attack with some inputs changed, half of them to an end of the
// range, or a random attack if from is nil. The result is attackSteps × features.
func attackOn(random *rand.Rand, from [][]int16, features int) [][]int16 {
	attack := make([][]int16, attackSteps)
	for step := range attack {
		attack[step] = make([]int16, features)
		for i := range attack[step] {
			switch {
			case from != nil && random.IntN(4*features) > 0:
				attack[step][i] = from[step][i]
			case random.IntN(2) == 0:
				attack[step][i] = []int16{-32768, 32767}[random.IntN(2)]
			default:
				attack[step][i] = int16(random.IntN(1<<16) - 1<<15)
			}
		}
	}
	return attack
}

// runTable runs the network on given inputs [steps × features], from a zero state every attackSteps
// steps.
func (s *session) runTable(table [][]int16) (*Result, error) {
	var text strings.Builder
	fmt.Fprintf(&text, "#define NETWORK_RESTART %dU\nstatic const int16_t "+
		"inputs[NETWORK_STEPS][NETWORK_FEATURES] = {\n", attackSteps)
	for _, x := range table {
		text.WriteString("    {")
		for _, v := range x {
			fmt.Fprintf(&text, "%d, ", v)
		}
		text.WriteString("},\n")
	}
	text.WriteString("};\n")
	header := filepath.Join(s.dir, "inputs.h")
	if err := os.WriteFile(header, []byte(text.String()), 0o644); err != nil {
		return nil, err
	}
	one := *s
	one.options.Steps, one.options.Apart = len(table), nil
	if err := one.writeHeader(one.networkHeader(0)); err != nil {
		return nil, err
	}
	if err := one.linkImage(runImage, "-DNETWORK_TABLE", "main.c", networkObject); err != nil {
		return nil, err
	}
	r := &Result{}
	if _, err := one.run(r); err != nil {
		return nil, err
	}
	return r, one.checkSteps(r)
}

// features returns the number of features, which the preprocessor takes from the header of the
// network.
func (s *session) features() (int, error) {
	const preprocessed = "features.txt"
	if err := s.gcc("read the number of features", "-E", "-P", "features.c", "-o",
		preprocessed); err != nil {
		return 0, err
	}
	out, err := os.ReadFile(filepath.Join(s.dir, preprocessed))
	if err != nil {
		return 0, err
	}
	words := strings.Fields(string(out))
	n, err := strconv.Atoi(strings.Trim(words[len(words)-1], "()Uu"))
	if err != nil || n < 1 {
		return 0, fmt.Errorf("%s.h does not say how many features the network has: %q", s.name,
			tail(string(out)))
	}
	return n, nil
}

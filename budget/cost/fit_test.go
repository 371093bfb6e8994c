package cost

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"

	"kerf/fault"
	"kerf/targets"
)

// boardShapes are networks of different kinds, sizes and words.
func boardShapes() []string {
	var all []string
	for i, kind := range []string{"gru_after", "gru_before", "lstm", "elman_tanh", "elman_relu"} {
		for j, bits := range []int{4, 8, 16} {
			all = append(all, fmt.Sprintf("%d;%s:%d:%d:%d:16;dense:%d:16:identity", 4+3*i+5*j, kind,
				6+5*j+2*i, bits, bits, 1+i%3))
		}
	}
	return all
}

// measuredWith is what a board would print whose core has these costs. A shape that ends with
// ";small" is of a network in the small form.
func measuredWith(t *testing.T, core *targets.Profile, shapes []string) string {
	t.Helper()
	var b strings.Builder
	for i, text := range shapes {
		shape, isSmall := strings.CutSuffix(text, ";small")
		s, err := ParseShape(shape)
		if err != nil {
			t.Fatal(err)
		}
		form := Fast
		if isSmall {
			form = Small
		}
		cycles := stepCycles(s, core, form)
		const steps, overhead = 10000, 123456
		fmt.Fprintf(&b, "%s\nboard%d,0x0000ABCD,%s,%d,%.0f,%d\n", strings.Join(boardHead, ","), i,
			text, steps, steps*cycles+overhead, overhead)
	}
	return b.String()
}

// altered is a core with other costs of some classes.
func altered(t *testing.T, name string, costs map[string]float64) *targets.Profile {
	t.Helper()
	core, err := targets.Load(name)
	if err != nil {
		t.Fatal(err)
	}
	for class, cycles := range costs {
		c := core.Costs[class]
		c.Cycles = cycles
		core.Costs[class] = c
	}
	return core
}

// The costs of a made-up core come back from its cycles.
func TestFitFindsTheCosts(t *testing.T) {
	core := altered(t, "cortex-m0plus", nil)
	want := map[string]float64{"load_flash": 4.5, "mul": 3}
	lines, err := ReadBoardLines(
		strings.NewReader(measuredWith(t, altered(t, "cortex-m0plus", want),
			append(boardShapes(), boardShapes()[3]+";small"))), "board.csv")
	if err != nil {
		t.Fatal(err)
	}
	fitted, err := FitProfile(core, lines, []string{"mul", "load_flash"})
	if err != nil {
		t.Fatal(err)
	}
	if len(fitted.Costs) != 2 || fitted.Condition > worstCondition {
		t.Errorf("fitted %+v", fitted)
	}
	for _, c := range fitted.Costs {
		if math.Abs(c.After-want[c.Class]) > 1e-3 || c.Before != core.Cycles(c.Class) ||
			c.Error > 1e-3 {
			t.Errorf("%s: %+v, want %g", c.Class, c, want[c.Class])
		}
	}
	for _, r := range fitted.Rows {
		if math.Abs(r.After-r.Measured) > 1e-4*r.Measured || r.Before >= r.Measured ||
			r.Lines != 1 {
			t.Errorf("row %+v", r)
		}
	}
	if got := fitted.Profile.Cycles("alu"); got != core.Cycles("alu") {
		t.Errorf("a class that was not fitted has %g cycles", got)
	}
	if core.Cycles("mul") != 1 {
		t.Error("the profile itself was changed")
	}
}

// The counts of a step times the costs are its cycles: the estimate is linear in the costs.
func TestClassCountsAddUp(t *testing.T) {
	for _, name := range targets.Names() {
		core := altered(t, name, nil)
		if kernelsFor(core.ISA, Fast).isSimulated() {
			continue // has no classes, and FitProfile refuses it
		}
		for _, text := range boardShapes() {
			s, err := ParseShape(text)
			if err != nil {
				t.Fatal(err)
			}
			sum, want := 0.0, stepCycles(s, core, Fast)
			for class, n := range classCounts(s, core, Fast) {
				sum += n * core.Cycles(class)
			}
			if math.Abs(sum-want) > 1e-6*want {
				t.Errorf("%s, %s: classes sum to %g cycles, the step takes %g", name, text, sum,
					want)
			}
		}
	}
}

func TestFitRefuses(t *testing.T) {
	core := altered(t, "cortex-m3", nil)
	all := boardShapes()
	waiting := *core
	waiting.FlashWaits = []targets.FlashWait{{UpTo: 1e6}}
	for _, c := range []struct {
		name    string
		core    *targets.Profile
		board   *targets.Profile
		shapes  []string
		classes []string
		want    string
	}{
		{"as many networks as costs", core, core, all[:2], []string{"alu", "load_flash"},
			"2 different networks cannot tell 2 costs"},
		{"one network many times", core, core, []string{all[0], all[0], all[0]},
			[]string{"alu", "load_flash"}, "1 different networks cannot tell 2 costs"},
		{"every class", core, core, all, nil, "networks"},
		{"one size", core, core,
			[]string{"10;gru_after:100:8:8:16;dense:1:16:identity",
				"11;gru_after:100:8:8:16;dense:1:16:identity",
				"12;gru_after:100:8:8:16;dense:1:16:identity"}, []string{"alu", "load_flash"},
			"cannot be told apart"},
		{"no such class", core, core, all, []string{"float_div"},
			`"float_div" is no instruction class that these networks execute`},
		{"twice", core, core, all, []string{"alu", "alu"}, "or stands twice"},
		{"below zero", core, altered(t, "cortex-m3", map[string]float64{"alu": 0.01}), all,
			[]string{"load_flash"}, "which no instruction has"},
		{"wait states", &waiting, core, all, []string{"alu"}, "flash wait states"},
	} {
		lines, err := ReadBoardLines(strings.NewReader(measuredWith(t, c.board, c.shapes)),
			"board.csv")
		if err != nil {
			t.Fatal(err)
		}
		_, err = FitProfile(c.core, lines, c.classes)
		var e *fault.Error
		if !errors.As(err, &e) || !strings.Contains(e.Msg, c.want) || e.Hint == "" {
			t.Errorf("%s: error %v, want %s", c.name, err, c.want)
		}
	}
}

func TestReadBoardLinesErrors(t *testing.T) {
	head := strings.Join(boardHead, ",") + "\n"
	for text, want := range map[string]string{
		head:           "the file holds no measurement",
		head + "a,b\n": "cannot be read as CSV of 6 columns",
		head + "a,0x1,17;gru:3:8:8:16;dense:1:16:identity,1,2,1\n": `"gru:3:8:8:16" is ` +
			`no part of a network`,
		head + "a,0x1,17;lstm:3:8:8:16;dense:1:16:identity,1,-2,1\n": `"-2" is no count of ` +
			`32 bits`,
		head + "a,0x1,17;lstm:3:8:8:16;dense:1:16:identity,1,5,5\n": "no steps, or not " +
			"more cycles than the loop",
		head + "a,0x1,17;lstm:99999:8:8:16;dense:1:16:identity,1,500,5\n": "is no part of a " +
			"network",
		head + "a,0x1,17;dense:1:16:identity,1,500,5\n": "names no recurrent " +
			"or no dense layer",
	} {
		_, err := ReadBoardLines(strings.NewReader(text), "board.csv")
		var e *fault.Error
		if !errors.As(err, &e) || !strings.Contains(e.Msg, want) || e.Hint == "" ||
			(text != head && e.Line != 2) {
			t.Errorf("%q: error %v, want %s", text, err, want)
		}
	}
}

package quant

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"kerf/dataset"
)

// What the tables of docs/accuracy-figures.md are over; 5, 6 and 7 are measured only. The 32-bit
// state is shown with the plainest and one of the best ways of rounding.
var (
	tableWidths    = []int{4, 5, 6, 7, 8, 16}
	tableRoundings = map[int][]Rounding{16: Roundings, 32: {Nearest, AtStateHalf}}
)

// TestAccuracyTable measures the tables of docs/accuracy-figures.md and holds them to
// what they show, with every way of rounding but the plainest and either state:
// int8 costs at most 0.5 % of the float RMSE, int4 on city-weather at most 3 %. Of
// the slow network only int16 is held, to 0.5 %. The rounding that kerf chooses is
// held in package budget.
func TestAccuracyTable(t *testing.T) {
	demoJob, city, slowJob := jobs(t)
	promised := map[*accuracyJob]map[int]float64{
		demoJob: {8: 0.005, 16: 0.005},
		city:    {4: 0.03, 8: 0.005, 16: 0.005},
		slowJob: {16: 0.005},
	}
	shown := docs(t)
	for _, j := range []*accuracyJob{demoJob, city, slowJob} {
		shown.need(t, fmt.Sprintf("| %s | state | rounding | %s |", j.name,
			strings.Join(dataset.OutputNames(j.p.Outputs), " | ")))
		for _, stateBits := range []int{16, 32} {
			for _, bits := range tableWidths {
				for _, rounding := range tableRoundings[stateBits] {
					all := j.measure(j.fixed(t, bits, bits, stateBits, rounding))
					shown.need(t, fmt.Sprintf("| int%d | int%d | %s | %s |", bits, stateBits,
						rounding, cells(all)))
					limit, ok := promised[j][bits]
					for o, a := range all {
						if ok && rounding != Nearest && a.rise > limit {
							t.Errorf("%s, int%d weights, int%d state, %s: the RMSE of %s rises "+
								"by %.2f %%, promised are %.1f %%", j.name, bits, stateBits,
								rounding, j.p.Outputs[o].Name, 100*a.rise, 100*limit)
						}
					}
				}
			}
		}
	}
}

// page is docs/accuracy-figures.md.
type page string

func docs(t *testing.T) page {
	t.Helper()
	text, err := os.ReadFile(filepath.Join("..", "docs", "accuracy-figures.md"))
	if err != nil {
		t.Fatal(err)
	}
	return page(text)
}

// need prints a line of a table and fails the test if the page does not have it.
func (p page) need(t *testing.T, line string) {
	t.Helper()
	t.Log(line)
	if !strings.Contains(string(p), line+"\n") {
		t.Errorf("docs/accuracy-figures.md does not show this line; its last section says how "+
			"to bring it up to date:\n%s", line)
	}
}

// cells returns the cells of a row: rise and, in brackets, distance of every output, in percent.
func cells(all []accuracy) string {
	var texts []string
	for _, a := range all {
		rise := math.Round(1e4*a.rise)/100 + 0 // + 0 turns -0 into 0
		texts = append(texts, fmt.Sprintf("%.2f %% (%.1f %%)", rise, 100*a.distance))
	}
	return strings.Join(texts, " | ")
}

// total returns the root sum square of the distances of all outputs.
func total(all []accuracy) float64 {
	sum := 0.0
	for _, a := range all {
		sum += a.distance * a.distance
	}
	return math.Sqrt(sum)
}

// With int4 and int8 weights, compensated rounding stays nearer to the float
// network than rounding to nearest, and on the demo and city-weather rounding at
// the state stays nearer still, to within two thirds.
func TestCompensatedRoundingStaysNearer(t *testing.T) {
	demoJob, city, slowJob := jobs(t)
	for _, j := range []*accuracyJob{demoJob, city, slowJob} {
		for _, bits := range []int{4, 8} {
			nearest := total(j.measure(j.fixed(t, bits, bits, 16, Nearest)))
			compensated := total(j.measure(j.fixed(t, bits, bits, 16, Compensated)))
			atState := total(j.measure(j.fixed(t, bits, bits, 16, AtStateHalf)))
			if compensated >= nearest {
				t.Errorf("%s, int%d: %.4f float RMSEs away, to nearest %.4f", j.name, bits,
					compensated, nearest)
			}
			if j != slowJob && atState >= compensated*2/3 {
				t.Errorf("%s, int%d, at the state: %.4f float RMSEs away, error-compensated %.4f",
					j.name, bits, atState, compensated)
			}
		}
	}
}

// TestOneNarrowTensorAtATime measures which tensor narrow words hurt most. Every error that fixed
// point adds comes from one of the tensors. So the distance with all tensors at int4 is at least
// the distance with one alone and, as far as the errors are small and independent, their root sum
// square.
func TestOneNarrowTensorAtATime(t *testing.T) {
	demoJob, _, slowJob := jobs(t)
	shown := docs(t)
	for _, c := range []struct {
		job  *accuracyJob
		bits int
	}{{demoJob, 4}, {slowJob, 8}} {
		j := c.job
		wide := j.fixed(t, 16, 16, 16, Compensated).Layers[0]
		narrow := j.fixed(t, c.bits, c.bits, 16, Compensated).Layers[0]
		if narrow.GateFraction != wide.GateFraction {
			t.Fatalf("%s: gates have %d and %d fraction bits, rows cannot be mixed", j.name,
				narrow.GateFraction, wide.GateFraction)
		}
		var alone []float64
		for _, tensor := range []string{"input", "recurrent"} {
			for gate, name := range []string{"reset", "update", "candidate"} {
				mixed := *wide
				if tensor == "input" {
					mixed.Input = withBlock(wide.Input, narrow.Input, gate)
				} else {
					mixed.Recurrent = withBlock(wide.Recurrent, narrow.Recurrent, gate)
				}
				n := j.fixed(t, 16, 16, 16, Compensated)
				n.Layers[0] = &mixed
				all := j.measure(n)
				shown.need(t, fmt.Sprintf("| %s | int%d | %s weights | %s | %s |", j.name, c.bits,
					tensor, name, cells(all)))
				alone = append(alone, total(all))
			}
		}
		all := j.measure(j.fixed(t, c.bits, c.bits, 16, Compensated))
		shown.need(t, fmt.Sprintf("| %s | int%d | all | all | %s |", j.name, c.bits, cells(all)))
		sum := 0.0
		for _, d := range alone {
			sum += d * d
		}
		if together := total(all); together < 0.5*slices.Max(alone) || together > 2*math.Sqrt(sum) {
			t.Errorf("%s: all together are %.4f float RMSEs away, the blocks alone %.4f", j.name,
				together, alone)
		}
	}
}

// withBlock returns matrix m with the rows of one gate taken from another matrix.
func withBlock(m, other *Matrix, gate int) *Matrix {
	c := *m
	c.W, c.Bias, c.Fraction, c.Shift, c.Bound = slices.Clone(m.W), slices.Clone(m.Bias),
		slices.Clone(m.Fraction), slices.Clone(m.Shift), slices.Clone(m.Bound)
	units := m.Rows / 3
	from, to := gate*units, (gate+1)*units
	copy(c.W[from*m.Cols:to*m.Cols], other.W[from*m.Cols:to*m.Cols])
	copy(c.Bias[from:to], other.Bias[from:to])
	copy(c.Fraction[from:to], other.Fraction[from:to])
	copy(c.Shift[from:to], other.Shift[from:to])
	copy(c.Bound[from:to], other.Bound[from:to])
	return &c
}

package main

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"

	"kerf/budget"
)

// output returns the line of output o, from 0, in outputs.csv.
func (d *draft) output(o int) []string { return d.outputs[o+1] }

// outputNames returns the names of the outputs in the order of outputs.csv.
func (d *draft) outputNames() []string {
	var names []string
	for _, line := range d.outputs[1:] {
		names = append(names, line[nameColumn])
	}
	return names
}

// outputLine returns the words of kerf for the line of output o.
func outputLine(o int) string { return fmt.Sprintf("outputs.csv line %d", o+firstRow) }

// recordedOutput returns mean and standard deviation of an output in the selection recordings.
func (d *draft) recordedOutput(name string) (mean, std float64) {
	column := d.selection.column(name)
	sum, squares, n := 0.0, 0.0, 0.0
	for _, s := range d.selection.sequences {
		for _, row := range s.rows {
			v := number(row[column])
			sum, squares, n = sum+v, squares+v*v, n+1
		}
	}
	mean = sum / n
	return mean, math.Sqrt(squares/n - mean*mean)
}

// head changes the last layer so that its output o is a·raw + b, where raw is the output before.
func (d *draft) head(o int, a, b float64) {
	name := d.layers[len(d.layers)-1].name
	w, bias := d.tensors[name+".weight"], d.tensors[name+".bias"]
	columns := w.Shape[1]
	for c := range columns {
		w.Data[o*columns+c] = float64(float32(w.Data[o*columns+c] * a))
	}
	bias.Data[o] = float64(float32(bias.Data[o]*a + b))
}

// isPhysical reports whether the outputs of the network are in physical units, without a scale in
// outputs.csv.
func (d *draft) isPhysical() bool { return d.output(0)[stdOfOutput] == "1" }

// falsifyOutputScale leaves the scale of the outputs out, applies it twice, or multiplies an output
// by a power of ten.
func falsifyOutputScale(d *draft, random *rand.Rand) breakage {
	outputs, physical := []int{0, 1}, d.isPhysical()
	lacking := finding{budget.CauseOutputScale, []string{"outputs.csv"},
		[]string{"lack the scale of the outputs"}}
	already := finding{budget.CauseOutputScale, []string{"outputs.csv"},
		[]string{"scale outputs that are in physical units already"}}
	only := ""
	if random.IntN(2) == 0 {
		o := random.IntN(2)
		name := d.output(o)[nameColumn]
		outputs, only = []int{o}, " of "+name
		lacking = finding{budget.CauseOutputScale, []string{outputLine(o)},
			[]string{"mean or std of " + name}}
		already = finding{budget.CauseOutputScale, []string{outputLine(o)},
			[]string{"scale " + name + ", which is in physical units already"}}
	}
	switch random.IntN(3) {
	case 0:
		// The network gives normalised outputs, outputs.csv does not say so.
		for _, o := range outputs {
			line := d.output(o)
			if physical {
				mean, std := d.recordedOutput(line[nameColumn])
				d.head(o, 1/std, -mean/std)
				continue
			}
			line[meanOfOutput], line[stdOfOutput] = "0", "1"
		}
		return breakage{says: "scale" + only + " missing", right: []finding{lacking}}
	case 1:
		// The network gives physical outputs, outputs.csv scales them again.
		for _, o := range outputs {
			line := d.output(o)
			if physical {
				mean, std := d.recordedOutput(line[nameColumn])
				line[meanOfOutput], line[stdOfOutput] = printed(mean, printedDigits),
					printed(std, printedDigits)
				continue
			}
			d.head(o, number(line[stdOfOutput]), number(line[meanOfOutput]))
		}
		return breakage{says: "scale" + only + " doubled", right: []finding{already}}
	}
	o, k := outputs[0], power(random)
	line := d.output(o)
	b := breakage{}
	if random.IntN(2) == 0 {
		line[meanOfOutput], line[stdOfOutput] = printed(number(line[meanOfOutput])*math.Pow10(k),
			printedDigits), printed(number(line[stdOfOutput])*math.Pow10(k), printedDigits)
		b.says = fmt.Sprintf("outputs.csv has %s times 1e%d", line[nameColumn], k)
		b.right = []finding{{budget.CauseOutputScale, []string{outputLine(o)}, []string{fits(k)}}}
		return b
	}
	which, alone, words := d.recordings(random)
	for _, rec := range which {
		rec.change(line[nameColumn], func(v float64) float64 { return v * math.Pow10(k) })
	}
	b.says, b.alone = fmt.Sprintf("column %s of the %s times 1e%d", line[nameColumn], words, k),
		alone
	b.right = []finding{{budget.CauseOutputScale, []string{outputLine(o)}, []string{fits(-k)}}}
	return b
}

// shiftOutputs records the outputs one to three steps late or early. Steps that have no output then
// are cut off.
func shiftOutputs(d *draft, random *rand.Rand) breakage {
	k := random.IntN(3) + 1
	steps, direction := fmt.Sprintf("%d steps", k), "late"
	if k == 1 {
		steps = "1 step"
	}
	if random.IntN(2) == 0 {
		k, direction = -k, "early"
	}
	which, alone, words := d.recordings(random)
	for _, rec := range which {
		for i := range rec.sequences {
			s := &rec.sequences[i]
			given := s.rows
			s.rows = nil
			for at, row := range given {
				if from := at - k; from >= 0 && from < len(given) {
					row = slices.Clone(row)
					for _, name := range d.outputNames() {
						row[rec.column(name)] = given[from][rec.column(name)]
					}
					s.rows = append(s.rows, row)
				}
			}
		}
	}
	return breakage{
		says: fmt.Sprintf("outputs of the %s %s %s", words, steps, direction), alone: alone,
		right: []finding{{budget.CauseShift, nil, []string{steps + " too " + direction}}},
	}
}

// exchangeOutputs exchanges the two outputs in outputs.csv, in the last layer or in the recordings.
func exchangeOutputs(d *draft, random *rand.Rand) breakage {
	names := d.outputNames()
	right := []finding{{budget.CauseOutputs, names, nil}}
	inTable := right
	if !slices.Equal(d.output(0)[meanOfOutput:], d.output(1)[meanOfOutput:]) {
		// Lines have a scale of their own, so they are told from columns.
		inTable = []finding{{budget.CauseOutputs, []string{"outputs.csv lines 2 and 3"}, names}}
	}
	switch random.IntN(3) {
	case 0:
		d.outputs[1], d.outputs[2] = d.outputs[2], d.outputs[1]
		return breakage{says: "lines of outputs.csv exchanged", right: inTable}
	case 1:
		name := d.layers[len(d.layers)-1].name
		w, bias := d.tensors[name+".weight"], d.tensors[name+".bias"]
		columns := w.Shape[1]
		w.Data = append(slices.Clone(w.Data[columns:]), w.Data[:columns]...)
		bias.Data[0], bias.Data[1] = bias.Data[1], bias.Data[0]
		return breakage{says: "rows of the last layer exchanged", right: inTable}
	}
	which, alone, words := d.recordings(random)
	for _, rec := range which {
		p, q := rec.column(names[0]), rec.column(names[1])
		rec.header[p], rec.header[q] = rec.header[q], rec.header[p]
	}
	return breakage{says: "output columns of the " + words + " exchanged", alone: alone,
		right: right}
}

// scramble gives the sign-off sequences outputs that are not theirs, or steps in another order.
func scramble(d *draft, random *rand.Rand) breakage {
	rec := d.signoff
	var columns []int
	for _, name := range d.outputNames() {
		columns = append(columns, rec.column(name))
	}
	given := rec.clone().sequences
	// outputs gives sequence i the outputs of sequence from, up to the end of the shorter one.
	outputs := func(i, from int) {
		s := &rec.sequences[i]
		s.rows = s.rows[:min(len(s.rows), len(given[from].rows))]
		for at, row := range s.rows {
			for _, c := range columns {
				row[c] = given[from].rows[at][c]
			}
		}
	}
	// order puts the cells of some columns into another order in time, sequence by sequence.
	order := func(columns []int, order func(n int) []int) {
		for i, s := range rec.sequences {
			for at, from := range order(len(s.rows)) {
				for _, c := range columns {
					s.rows[at][c] = given[i].rows[from][c]
				}
			}
		}
	}
	reversed := func(n int) []int {
		all := make([]int, n)
		for at := range all {
			all[at] = n - 1 - at
		}
		return all
	}
	const firstValue = 3 // behind sequence, scenario, t
	var whole []int
	for c := firstValue; c < len(rec.header); c++ {
		whole = append(whole, c)
	}
	ways := []struct {
		says string
		do   func()
	}{
		{"outputs of another sequence of the scenario", func() {
			for i, s := range given {
				for n := 1; n < len(given); n++ {
					if from := (i + n) % len(given); given[from].scenario == s.scenario {
						outputs(i, from)
						break
					}
				}
			}
		}},
		{"outputs of any other sequence", func() {
			by := 1 + random.IntN(len(given)-1)
			for i := range given {
				outputs(i, (i+by)%len(given))
			}
		}},
		{"outputs of others in half of the sequences", func() {
			half := random.Perm(len(given))[:len(given)/2]
			slices.Sort(half)
			for at, i := range half {
				outputs(i, half[(at+1)%len(half)])
			}
		}},
		{"outputs shuffled in time", func() { order(columns, random.Perm) }},
		{"outputs reversed in time", func() { order(columns, reversed) }},
		{"steps shuffled", func() { order(whole, random.Perm) }},
		{"steps reversed", func() { order(whole, reversed) }},
	}
	drawn := ways[random.IntN(len(ways))]
	drawn.do()
	right := finding{kind: budget.CauseForeign}
	if drawn.says == "steps reversed" {
		right.kind = budget.CauseBackwards
	}
	return breakage{says: drawn.says, alone: true, right: []finding{right}}
}

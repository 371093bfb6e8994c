package report

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"kerf/budget"
	"kerf/dataset"
	"kerf/quant"
)

// FaultsInfo is what errors become when a feature is at fault: a [budget.Faults] with null for NaN.
type FaultsInfo struct {
	Sequences int        `json:"sequences"` // that were run
	Recorded  int        `json:"recorded"`  // sequences of the sign-off recordings
	Steps     int        `json:"steps"`     // that count: those from half of each sequence on
	Rows      []FaultRow `json:"rows"`
}

// FaultRow is the error of one output while a feature is at fault.
type FaultRow struct {
	Feature string      `json:"feature"`
	Fault   quant.Fault `json:"fault"`
	// what the feature shows then, in its unit; nil where it is stuck, at another value in every
	// sequence
	Value       *float64       `json:"value"`
	FeatureUnit string         `json:"feature_unit"`
	Output      string         `json:"output"`
	Metric      dataset.Metric `json:"metric"`
	Unit        string         `json:"unit"`
	Without     float64        `json:"without"` // on the same steps, no feature at fault
	With        float64        `json:"with"`
	Factor      *float64       `json:"factor"` // of an error: with over without; nil: of none
	Drop        *float64       `json:"drop"`   // of a share of steps: without less with
	Kind        budget.Kind    `json:"kind"`
}

// faultsInfo is made of what was tried; nil where nothing was.
func faultsInfo(f *budget.Faults) *FaultsInfo {
	if f == nil {
		return nil
	}
	info := &FaultsInfo{Sequences: f.Sequences, Recorded: f.Recorded, Steps: f.Steps,
		Rows: []FaultRow{}}
	for _, r := range f.Rows {
		info.Rows = append(info.Rows,
			FaultRow{r.Feature, r.Fault, Finite(r.Value), r.Unit, r.Output, r.Metric, r.OutUnit,
				r.Without, r.With, Finite(r.Factor()), Finite(r.Drop()), budget.Measured})
	}
	return info
}

// harm orders the rows of one output by what the fault does.
func (r *FaultRow) harm() float64 {
	if r.Drop != nil {
		return *r.Drop
	}
	return r.With
}

// shown prints how a fault changes the error: the factor, of a share of steps what it loses, and
// where there is no error without the fault the error with it.
func (r *FaultRow) shown() string {
	switch {
	case r.Drop != nil:
		return Points(*r.Drop)
	case r.Factor == nil:
		return strings.TrimSpace(Significant(r.With) + " " + r.Unit)
	case *r.Factor >= 100:
		return "x " + strconv.FormatFloat(*r.Factor, 'f', 0, 64)
	case *r.Factor >= 10:
		return "x " + strconv.FormatFloat(*r.Factor, 'f', 1, 64)
	}
	return "x " + strconv.FormatFloat(*r.Factor, 'f', 2, 64)
}

// faultWords say what a feature shows at fault.
var faultWords = map[quant.Fault]string{quant.Stuck: "stuck at its last value",
	quant.Lowest: "at its lowest integer", quant.Highest: "at its highest integer",
	quant.AtMean: "at its mean"}

// outputs lists the outputs of the rows in their order.
func (f *FaultsInfo) outputs() []string {
	var names []string
	for _, r := range f.Rows {
		if !slices.Contains(names, r.Output) {
			names = append(names, r.Output)
		}
	}
	return names
}

// FaultTable has a row per output and feature with a column per fault; for each output the feature
// whose worst fault does most stands first. It has no rows where nothing was tried.
func (s *Signoff) FaultTable() Table {
	t := Table{Title: "Features at fault from half of each sequence on (measured)",
		Head: []string{"output", "feature", "metric", "no fault"}, Numbers: 3}
	for _, f := range quant.EveryFault {
		t.Head = append(t.Head, string(f))
	}
	if s.Faults == nil {
		return t
	}
	for _, output := range s.Faults.outputs() {
		rows := map[string]map[quant.Fault]*FaultRow{} // by feature and fault
		worst := map[string]float64{}
		var features []string
		for i := range s.Faults.Rows {
			r := &s.Faults.Rows[i]
			if r.Output != output {
				continue
			}
			if rows[r.Feature] == nil {
				rows[r.Feature], worst[r.Feature] = map[quant.Fault]*FaultRow{}, math.Inf(-1)
				features = append(features, r.Feature)
			}
			rows[r.Feature][r.Fault] = r
			worst[r.Feature] = max(worst[r.Feature], r.harm())
		}
		slices.SortStableFunc(features, func(a, b string) int {
			return cmp.Compare(worst[b], worst[a])
		})
		for _, feature := range features {
			cells := []string{output, feature, "", ""}
			for _, f := range quant.EveryFault {
				r := rows[feature][f]
				if r == nil {
					cells = append(cells, "")
					continue
				}
				cells[2], cells[3] = Spaced(r.Metric), r.withoutText()
				cells = append(cells, r.shown())
			}
			t.Rows = append(t.Rows, cells)
		}
	}
	return t
}

// withoutText prints the figure without a fault.
func (r *FaultRow) withoutText() string {
	if r.Metric.IsShare() {
		return Percent(r.Without)
	}
	return strings.TrimSpace(Significant(r.Without) + " " + r.Unit)
}

// FaultsNote says what the table of faults shows; empty where nothing was tried.
func (s *Signoff) FaultsNote() string {
	f := s.Faults
	if f == nil {
		return ""
	}
	on := fmt.Sprintf("%s of the sign-off recordings", Plural(f.Sequences, "sequence"))
	if f.Sequences < f.Recorded {
		on = fmt.Sprintf("%d of the %s of the sign-off recordings", f.Sequences,
			Plural(f.Recorded, "sequence"))
	}
	return fmt.Sprintf("Measured with the integer network on %s: one feature at a time is at "+
		"fault from half of each sequence on, and the %s steps from there count, with the fault "+
		"and without. stuck: at its last value; lowest, highest: at either end of the integers "+
		"that the step takes; mean: replaced by its mean. x: error with the fault over that "+
		"without; points: of a share of steps what it loses. Faults that begin elsewhere, or of "+
		"several features, may do more.", on, grouped(float64(f.Steps)))
}

// WorstFaults returns a line per output that names the fault which does most to it.
func (s *Signoff) WorstFaults() []string {
	if s.Faults == nil {
		return nil
	}
	var lines []string
	for _, output := range s.Faults.outputs() {
		var worst *FaultRow
		for i := range s.Faults.Rows {
			r := &s.Faults.Rows[i]
			if r.Output == output && (worst == nil || r.harm() > worst.harm()) {
				worst = r
			}
		}
		where := faultWords[worst.Fault]
		if worst.Value != nil {
			where += " (" + strings.TrimSpace(Significant(*worst.Value)+" "+worst.FeatureUnit) + ")"
		}
		with := *worst
		with.Without = worst.With
		lines = append(lines, fmt.Sprintf("%s: worst with %s %s: %s %s, without a fault %s", output,
			worst.Feature, where, Spaced(worst.Metric), with.withoutText(), worst.withoutText()))
	}
	return lines
}

// faultTables has the table of faults, or none where nothing was tried.
func (s *Signoff) faultTables() []Table {
	if s.Faults == nil {
		return nil
	}
	return []Table{s.FaultTable()}
}

// write writes the rows to signoff.csv.
func (f *FaultsInfo) write(write func(csvRow)) {
	for _, r := range f.Rows {
		change := r.Factor
		if r.Drop != nil {
			change = r.Drop
		} else if change != nil {
			change = Finite(*change - 1)
		}
		write(csvRow{"section": "fault", "output": r.Output, "scenario": "all", "metric": r.Metric,
			"part": r.Fault, "unit": r.Unit, "fixed": r.Without, "value": r.With, "rise": change,
			"kind": r.Kind, "sequences": f.Sequences, "steps": f.Steps, "text": r.Feature})
	}
}

package report

import (
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strings"

	"kerf/budget"
	"kerf/dataset"
	"kerf/prune"
)

// maxSumsBytes is how long the sums of a sign-off may be as compact JSON: half of the largest
// signoff.json that is read back. A blank behind every number makes them some per cent longer
// there, half as long again at the very most, and the rest has some hundred kilobytes.
const maxSumsBytes = MaxJSONBytes / 2

// SumsInfo holds the sums over the sequences of the sign-off recordings that the judged rows of the
// accuracy follow from: with them [Compare] compares two handoffs pair by pair.
type SumsInfo struct {
	LeftOut    bool     `json:"left_out"` // they would take too much; all lists are empty
	Sequences  []string `json:"sequences"`
	Scenarios  []string `json:"scenarios"`
	ScenarioOf []int    `json:"scenario_of"` // index in Scenarios of every sequence
	Steps      []int    `json:"steps"`       // of every sequence that count
	// SHA-256 of the outputs of every sequence, the first eight bytes
	Recorded []string  `json:"recorded"`
	Rows     []SumsRow `json:"rows"`
}

// SumsRow has the sums of one metric of one output everywhere or in one region, see [dataset.Sums].
type SumsRow struct {
	Output string         `json:"output"`
	Region string         `json:"region"`
	Where  string         `json:"where"` // what the region is, in words
	Metric dataset.Metric `json:"metric"`
	Steps  []int          `json:"steps"`
	Float  []float64      `json:"float"`           // of the network as given
	Fixed  []float64      `json:"fixed"`           // of the integer network
	Whole  []float64      `json:"whole,omitempty"` // of what an explained share is a share of
}

// addSums fills in the sums, or a note that they are left out.
func (s *Signoff) addSums(r *budget.Result) {
	if len(r.Sums) == 0 {
		return
	}
	s.Sums = &SumsInfo{Scenarios: r.Inputs.Signoff.Scenarios()}
	for _, sequence := range r.Inputs.Signoff.Sequences {
		s.Sums.Sequences = append(s.Sums.Sequences, sequence.Name)
		scenario := slices.Index(s.Sums.Scenarios, sequence.Scenario)
		s.Sums.ScenarioOf = append(s.Sums.ScenarioOf, scenario)
		s.Sums.Steps = append(s.Sums.Steps, max(0, sequence.Steps-sequence.Settle))
		s.Sums.Recorded = append(s.Sums.Recorded, recordedHash(sequence, r.Inputs.Float.Outputs))
	}
	for _, row := range r.Sums {
		s.Sums.Rows = append(s.Sums.Rows,
			SumsRow{row.Output, row.Region, row.Where, row.Metric,
				row.Fixed.Steps, row.Float.Parts, row.Fixed.Parts, row.Fixed.Whole})
	}
	// What is no number is an error of the whole signoff.json.
	if text, err := json.Marshal(s.Sums); err == nil && len(text) > maxSumsBytes {
		sequences := grouped(float64(len(s.Sums.Sequences)))
		s.Warnings = append(s.Warnings, fmt.Sprintf("the errors of %s sign-off sequences, one by "+
			"one, would take %s and are left out of signoff.json: kerf compare compares no errors "+
			"with this handoff", sequences, Quantity(float64(len(text)), "B")))
		s.Sums = &SumsInfo{LeftOut: true, Sequences: []string{}, Scenarios: []string{},
			ScenarioOf: []int{}, Steps: []int{}, Recorded: []string{}, Rows: []SumsRow{}}
	}
}

// recordedHash returns the hash of the recorded outputs of a sequence, in the order of their names.
func recordedHash(s *dataset.Sequence, outputs []dataset.Output) string {
	order := make([]int, len(outputs))
	for i := range order {
		order[i] = i
	}
	slices.SortFunc(order, func(a, b int) int {
		return strings.Compare(outputs[a].Name, outputs[b].Name)
	})
	hash := sha256.New()
	var word [8]byte
	for step := range s.Steps {
		for _, o := range order {
			binary.LittleEndian.PutUint64(word[:], math.Float64bits(s.Y[step*len(outputs)+o]))
			hash.Write(word[:])
		}
	}
	return hex.EncodeToString(hash.Sum(nil)[:8])
}

// inOrderOf returns the same sums with the sequences in the order, and under the names, of others
// of the same recorded outputs; nil where the recorded outputs are not the same.
func (s *SumsInfo) inOrderOf(other *SumsInfo) *SumsInfo {
	if s == nil || other == nil || len(s.Recorded) == 0 || len(s.Recorded) != len(other.Recorded) ||
		len(s.Recorded) != len(s.ScenarioOf) || len(s.Recorded) != len(s.Steps) {
		return nil
	}
	from := make([]int, len(s.Recorded))
	taken := map[int]bool{}
	for i, hash := range other.Recorded {
		from[i] = slices.Index(s.Recorded, hash)
		if from[i] < 0 || taken[from[i]] {
			return nil
		}
		taken[from[i]] = true
	}
	ordered := &SumsInfo{Sequences: other.Sequences, Scenarios: other.Scenarios,
		Recorded: other.Recorded,
		Steps:    permuted(s.Steps, from)}
	for _, scenario := range permuted(s.ScenarioOf, from) {
		if scenario < 0 || scenario >= len(s.Scenarios) {
			return nil
		}
		ordered.ScenarioOf = append(ordered.ScenarioOf,
			slices.Index(other.Scenarios, s.Scenarios[scenario]))
	}
	for _, r := range s.Rows {
		if len(r.Steps) != len(from) || len(r.Float) != len(from) || len(r.Fixed) != len(from) ||
			len(r.Whole) != 0 && len(r.Whole) != len(from) {
			return nil
		}
		r.Steps, r.Float, r.Fixed = permuted(r.Steps, from), permuted(r.Float, from),
			permuted(r.Fixed, from)
		if len(r.Whole) > 0 {
			r.Whole = permuted(r.Whole, from)
		}
		ordered.Rows = append(ordered.Rows, r)
	}
	return ordered
}

// permuted returns the values at the given places, in their order.
func permuted[T any](values []T, from []int) []T {
	all := make([]T, len(from))
	for i, at := range from {
		all[i] = values[at]
	}
	return all
}

// sumsPair are the sums of one row of the network as given and of the integer network.
type sumsPair struct {
	float, fixed dataset.Sums
	where        string // what the region is
}

// of returns the sums of a row of the accuracy; false where there are none, or none that can be.
func (s *SumsInfo) of(row *LossRow) (sumsPair, bool) {
	if s == nil || s.LeftOut {
		return sumsPair{}, false
	}
	for i := range s.Rows {
		r := &s.Rows[i]
		if r.Output != row.Output || r.Region != row.Region || r.Metric != row.Metric {
			continue
		}
		pair, err := s.read(r)
		if err != nil {
			return sumsPair{}, false
		}
		if row.Scenario == prune.All {
			return pair, true
		}
		kept := s.inScenario(row.Scenario)
		return sumsPair{pair.float.Of(kept), pair.fixed.Of(kept), pair.where}, true
	}
	return sumsPair{}, false
}

// read checks and reads one row of sums.
func (s *SumsInfo) read(r *SumsRow) (sumsPair, error) {
	n := len(s.Sequences)
	pair := sumsPair{dataset.Sums{Sequences: n, Steps: r.Steps, Parts: r.Float, Whole: r.Whole},
		dataset.Sums{Sequences: n, Steps: r.Steps, Parts: r.Fixed, Whole: r.Whole}, r.Where}
	for _, sums := range []dataset.Sums{pair.float, pair.fixed} {
		if err := sums.Check(r.Metric); err != nil {
			return sumsPair{}, err
		}
	}
	if len(s.ScenarioOf) != n {
		return sumsPair{}, fmt.Errorf("not one scenario per sequence")
	}
	return pair, nil
}

// inScenario lists the sequences of a scenario by index.
func (s *SumsInfo) inScenario(name string) []int {
	var kept []int
	for i, scenario := range s.ScenarioOf {
		if scenario >= 0 && scenario < len(s.Scenarios) && s.Scenarios[scenario] == name {
			kept = append(kept, i)
		}
	}
	return kept
}

// isOfSame reports whether two sums are of the same sequences, scenarios and steps.
func (s *SumsInfo) isOfSame(other *SumsInfo) bool {
	return slices.Equal(s.Sequences, other.Sequences) && slices.Equal(s.Steps, other.Steps) &&
		slices.Equal(s.Scenarios, other.Scenarios) && slices.Equal(s.ScenarioOf, other.ScenarioOf)
}

// checkSums returns an error that names the first error of a judged row that does not follow from
// the sums.
func (s *Signoff) checkSums() error {
	if s.Sums == nil || s.Sums.LeftOut {
		return nil
	}
	for i := range s.Sums.Rows {
		r := &s.Sums.Rows[i]
		if _, err := s.Sums.read(r); err != nil && r.Metric.IsKnown() {
			row := budget.RowName{Output: r.Output, Metric: r.Metric,
				Scope: budget.Scope{Scenario: prune.All, Region: r.Region}}
			return fmt.Errorf("the sums of %s cannot be: %w", row.Text(), err)
		}
	}
	for i := range s.Loss {
		l := &s.Loss[i]
		metric := l.Metric
		sums, found := s.Sums.of(l)
		if !metric.IsKnown() || !found && l.Verdict == "" {
			continue
		}
		if !found || !isNearly(sums.float.Value(metric), l.Float) ||
			!isNearly(sums.fixed.Value(metric), l.Fixed) {
			return fmt.Errorf("%s does not follow from the sums over its sequences", l.Text())
		}
	}
	return nil
}

// isNearly reports whether two sums are the same but for the order in which they were added up.
func isNearly(a, b float64) bool {
	const lastDigits = 1e-9
	return math.Abs(a-b) <= lastDigits*math.Max(math.Abs(a), math.Abs(b))
}

package budget

import (
	"strings"

	"kerf/dataset"
	"kerf/prune"
)

// Scope is the part of the recordings that a figure is about: all of them, those of one scenario,
// or the steps in one region of the outputs.
type Scope struct {
	Scenario string `json:"scenario"` // [prune.All] or a scenario
	Region   string `json:"region"`   // empty: everywhere
}

// IsEverywhere reports whether a figure is about all recordings of its set.
func (s Scope) IsEverywhere() bool { return s.Scenario == prune.All && s.Region == "" }

// WhereName returns the name of the region, or else of the scenario: the place in the name of a
// row. No scenario and region of a job have the same name.
func (s Scope) WhereName() string {
	if s.Region != "" {
		return s.Region
	}
	return s.Scenario
}

// RowName names a row of the accuracy: a metric of an output, on a part of the recordings.
type RowName struct {
	Output string `json:"output"`
	Scope
	Metric dataset.Metric `json:"metric"`
}

// Text returns the one name of the row, as every text, table and kerf explain has it:
// OUTPUT/PLACE/METRIC, see [RowText].
func (n RowName) Text() string { return RowText(n.Output, n.WhereName(), string(n.Metric)) }

// PlaceText returns the name of the rows of all metrics at one place: OUTPUT/PLACE, see [RowText].
func (n RowName) PlaceText() string { return RowText(n.Output, n.WhereName()) }

// CostText returns the one name of a total, as every text, table and kerf explain has it:
// TARGET/RESOURCE, see [RowText].
func CostText(target string, r Resource) string { return RowText(target, string(r)) }

// RowText joins the names that a row is made of to the text that kerf explain takes: / stands
// between names, and a backslash in front of a / or a backslash inside a name.
func RowText(names ...string) string {
	marked := make([]string, len(names))
	for i, name := range names {
		marked[i] = slashes.Replace(name)
	}
	return strings.Join(marked, "/")
}

// slashes marks what separates names, and the mark itself.
var slashes = strings.NewReplacer(`\`, `\\`, "/", `\/`)

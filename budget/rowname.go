package budget

import (
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

// WhereName returns the name of the region, or else of the scenario, as kerf explain takes it.
func (s Scope) WhereName() string {
	if s.Region != "" {
		return s.Region
	}
	return s.Scenario
}

// WhereInWords returns the scenario as it is named, or the region with the word in front of its
// name, as tables show it.
func (s Scope) WhereInWords() string {
	if s.Region != "" {
		return "region " + s.Region
	}
	return s.Scenario
}

// inSentence names the scenario or region with the word for it, as sentences show it.
func (s Scope) inSentence() string {
	switch {
	case s.Region != "":
		return "region " + s.Region
	case s.Scenario == prune.All:
		return "all scenarios"
	}
	return "scenario " + s.Scenario
}

// RowName names a row of the accuracy: a metric of an output, on a part of the recordings.
type RowName struct {
	Output string `json:"output"`
	Scope
	Metric dataset.Metric `json:"metric"`
}

// Describe names the output and the part of the recordings in words.
func (n RowName) Describe() string { return n.Output + ", " + n.inSentence() }

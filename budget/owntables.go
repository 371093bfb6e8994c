package budget

import (
	"kerf/budget/cost"
	"kerf/targets"
)

// OwnTable is a table that is part of kerf and enters the figures.
type OwnTable struct {
	Name string
	Text []byte
}

// OwnTables lists the tables of kerf that the costs of the job come from: the
// kernels, and the profile of every target that names a built-in one.
func (in *Inputs) OwnTables() []OwnTable {
	tables := []OwnTable{{"kernels.toml", cost.KernelsText}}
	for _, t := range in.Targets {
		if text, ok := targets.BuiltIn(t.Profile); ok && t.ProfileFile == "" {
			tables = append(tables, OwnTable{t.Profile + ".toml", text})
		}
	}
	return tables
}

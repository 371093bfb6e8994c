package budget

import (
	"encoding/binary"
	"slices"

	"kerf/prune"
	"kerf/quant"
)

// Candidate is one choice of kept features, kept units and word widths.
type Candidate struct {
	Features []int   // indices into the trained network, ascending
	Units    [][]int // the same per recurrent layer
	Formats  quant.Formats
	Rounding quant.Rounding

	// The network that recovery training made of the cut; nil: the network is the cut itself.
	Recovered *Recovered

	shifts quant.Shifts // of the quantized network; zero before
}

// cutKey stands for features and units in a map: two candidates that keep the same have the same.
type cutKey string

// key returns the features and units of the candidate, as numbers behind their number.
func (c Candidate) key() cutKey {
	var key []byte
	if c.Recovered != nil && c.Recovered.Scratch {
		key = append(key, "scratch"...) // its units are none of the given ones
	}
	for _, list := range append([][]int{c.Features}, c.Units...) {
		key = binary.AppendUvarint(key, uint64(len(list)))
		for _, i := range list {
			key = binary.AppendUvarint(key, uint64(i))
		}
	}
	return cutKey(key)
}

// isSameCut reports whether two candidates keep the same features and units.
func (c Candidate) isSameCut(d Candidate) bool { return c.key() == d.key() }

// isSameNetwork reports whether two candidates are one float network, cut or trained.
func (c Candidate) isSameNetwork(d Candidate) bool {
	return c.isSameCut(d) && c.Recovered == d.Recovered
}

// UnitCount is the number of kept units of all layers.
func (c Candidate) UnitCount() int {
	n := 0
	for _, units := range c.Units {
		n += len(units)
	}
	return n
}

// Shape gives the sizes of the candidate.
func (in *Inputs) Shape(c Candidate) quant.Shape {
	s := quant.Shape{Features: len(c.Features), Formats: c.Formats, Shifts: c.shifts}
	for i, l := range in.Float.Net.Recurrent {
		s.Layers = append(s.Layers, quant.LayerShape{Kind: l.Kind, Units: len(c.Units[i])})
	}
	for _, d := range in.Float.Net.Dense {
		s.Dense = append(s.Dense, quant.DenseShape{Outputs: d.Outputs, Activation: d.Activation})
	}
	return s
}

// KeptFeatures names the features of a candidate.
func (in *Inputs) KeptFeatures(c Candidate) []string {
	names := make([]string, len(c.Features))
	for i, k := range c.Features {
		names[i] = in.Float.Features[k].Name
	}
	return names
}

// DroppedFeatures names the features that a candidate does not keep.
func (in *Inputs) DroppedFeatures(c Candidate) []string {
	var names []string
	for _, k := range prune.Without(len(in.Float.Features), c.Features...) {
		names = append(names, in.Float.Features[k].Name)
	}
	return names
}

// DroppedUnits names the units that a candidate does not keep.
func (in *Inputs) DroppedUnits(c Candidate) []string {
	var names []string
	for _, u := range prune.Units(in.Float.Net) {
		if !slices.Contains(c.Units[u.Layer], u.Index) {
			names = append(names, prune.UnitName(in.Float.Net, u))
		}
	}
	return names
}

// FrontEnds splits the cost groups into those that a candidate still needs and
// those that are freed with their last feature.
func (in *Inputs) FrontEnds(c Candidate) (needed, freed []FrontEnd) {
	used := map[string]bool{}
	for _, k := range c.Features {
		used[in.Float.Features[k].FrontEnd] = true
	}
	for _, g := range in.Job.FrontEnds {
		if used[g.Name] {
			needed = append(needed, g)
		} else {
			freed = append(freed, g)
		}
	}
	return needed, freed
}

// Whole keeps every feature and unit.
func (in *Inputs) Whole(formats quant.Formats) Candidate {
	return Candidate{Features: prune.Without(in.Float.Net.Inputs()),
		Units: prune.AllUnits(in.Float.Net), Formats: formats}
}

// Period is the time between two steps in seconds that all targets of the job
// agree on, or 0.
func (in *Inputs) Period() float64 {
	period := 0.0
	for _, t := range in.Targets {
		switch {
		case t.Period == nil:
			return 0
		case period != 0 && period != float64(*t.Period):
			return 0
		}
		period = float64(*t.Period)
	}
	return period
}

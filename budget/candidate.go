package budget

import (
	"kerf/dataset"
	"kerf/prune"
	"kerf/quant"
)

// Candidate is one choice of kept features, kept units and word widths.
type Candidate struct {
	Features []int // indices into the trained network, ascending
	Units    []int
	Formats  quant.Formats
}

// Shape gives the sizes of the candidate.
func (in *Inputs) Shape(c Candidate) quant.Shape {
	return quant.Shape{Features: len(c.Features), Units: len(c.Units), Outputs: len(in.Float.Outputs), Formats: c.Formats}
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
	return Candidate{Features: prune.Without(in.Float.Net.Inputs()), Units: prune.Without(in.Float.Net.Units()), Formats: formats}
}

// Build cuts the network and brings it to fixed point. Ranges come from the
// selection recordings.
func (in *Inputs) Build(c Candidate, means prune.Means) (*dataset.Float, *quant.Network, error) {
	cut := prune.CutPredictor(in.Float, c.Features, c.Units, means)
	fixed, err := quant.Quantize(cut, quant.Calibrate(cut, in.Selection), c.Formats)
	return cut, fixed, err
}

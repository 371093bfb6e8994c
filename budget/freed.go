package budget

// Freed is what one part of a choice frees on one target, against the whole network in the
// widest formats that the job allows. Below 0 it costs.
type Freed struct {
	Target string  `json:"target"`
	By     string  `json:"by"`     // FreedFrontEnd, FreedComputed, FreedCut, FreedWords or Total
	Name   string  `json:"name"`   // of the front end; else empty
	Flash  float64 `json:"flash"`  // B
	RAM    float64 `json:"ram"`    // B
	Cycles float64 `json:"cycles"` // per step
}

// What frees something: a cost group that goes with its last feature, what computes features from
// samples that are cut, these and units themselves, words that are narrower.
const (
	FreedFrontEnd = "front_end"
	FreedComputed = "computed"
	FreedCut      = "cut"
	FreedWords    = "words"
)

// Freed splits what a candidate frees on every target. The rows of a target end with
// their sum.
func (in *Inputs) Freed(c Candidate) []Freed {
	_, gone := in.FrontEnds(c)
	var all []Freed
	for _, t := range in.Targets {
		t = in.formed(c, t)
		measure := func(c Candidate) Freed {
			f := Freed{Target: t.Name}
			for _, row := range totals(in.targetCosts(c, t)) {
				switch row.Resource {
				case Flash:
					f.Flash = row.Value
				case RAM:
					f.RAM = row.Value
				case Cycles:
					f.Cycles = row.Value
				}
			}
			return f
		}
		widest, uncut, now := measure(in.widest()), measure(in.Whole(c.Formats)), measure(c)
		cut := uncut.less(now)
		cut.By = FreedCut
		for _, g := range gone {
			group := Freed{t.Name, FreedFrontEnd, g.Name, float64(g.Flash), float64(g.RAM),
				g.Cycles[t.Core.Name]}
			all = append(all, group)
			cut = cut.less(group)
		}
		if in.Raw != nil {
			computed := in.freedFront(c, t)
			all = append(all, computed)
			cut = cut.less(computed)
		}
		words, total := widest.less(uncut), widest.less(now)
		words.By, total.By = FreedWords, Total
		all = append(all, cut, words, total)
	}
	return all
}

// freedFront is what goes of the code, the memory and the time that compute features from samples.
func (in *Inputs) freedFront(c Candidate, t Target) Freed {
	whole, now := in.frontCost(in.Whole(c.Formats), t, nil), in.frontCost(c, t, nil)
	freed := whole.takes(t).less(now.takes(t))
	freed.Target, freed.By = t.Name, FreedComputed
	return freed
}

// takes is what a front end takes on a target, as [Freed] has it.
func (f *frontCost) takes(t Target) Freed {
	of := Freed{Flash: f.tables + f.code, RAM: f.state,
		Cycles: f.sampling() + f.features.Cycles + f.wait()}
	if t.WeightsIn == inRAM {
		of.RAM += f.tables
	}
	return of
}

func (f Freed) less(g Freed) Freed {
	f.Flash -= g.Flash
	f.RAM -= g.RAM
	f.Cycles -= g.Cycles
	return f
}

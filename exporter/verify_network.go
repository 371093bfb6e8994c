package exporter

import (
	"fmt"
	"slices"

	"kerf/budget"
	"kerf/exporter/emit"
	"kerf/exporter/report"
	"kerf/quant"
)

// checkNetwork builds the integer network again, emits the C from it and runs the steps of the
// self-test. version is that of this kerf.
func (v *Verification) checkNetwork(s *report.Signoff, version string) {
	file := s.Name + emit.NetworkSuffix
	c := Check{What: "network"}
	p, err := v.program(s)
	if err != nil {
		c.Findings = []Finding{{file, err.Error()}}
		v.Add(c)
		return
	}
	rows := 0
	for _, m := range p.Net.Matrices() {
		rows += m.Rows
	}
	c.Detail = fmt.Sprintf("the accumulators of %s cannot overflow, formats as in signoff.json",
		report.Plural(rows, "row"))
	sources, windows := "source", ""
	if p.Front != nil {
		c.Detail += ", sizes of the front end too"
		sources, windows = "sources of network and front end",
			" and "+report.Plural(len(p.FrontVectors.Windows), "window")+" of converter codes"
	}
	other := compareNetwork(p.Net, s)
	if err = other; err == nil {
		err = compareFront(p, s)
	}
	if err != nil {
		c.Findings = []Finding{{SignoffFile, err.Error()}}
	}
	v.Add(c)

	c = Check{What: "C", Detail: "header, " + sources + ", weights, vectors, self-test, board " +
		"and build files follow from " + file + " and signoff.json"}
	if other != nil {
		c.skip("not made again: the network is another one than that of " + SignoffFile)
	} else if s.Kerf != version {
		c.skip(madeByOther(s.Kerf, version))
	} else if files, err := emittedAgain(p, s); err != nil {
		c.Findings = []Finding{{SignoffFile, err.Error()}}
	} else {
		c.Findings = v.differing(files, "does not follow from "+file+" and signoff.json")
		v.emitted = len(c.Findings) == 0
		c.Findings = append(c.Findings, v.foreign()...)
	}
	v.Add(c)

	c = Check{What: "self-test in Go", Detail: report.Plural(len(p.Vectors), "step") + windows +
		", every integer"}
	if err := p.Replay(); err != nil {
		c.Findings = []Finding{{file, err.Error()}}
	}
	v.Add(c)
}

// emittedAgain makes the C, the build files and the network file as kerf writes them. Names and
// compiler options go into build files, so they must be such as a job can give.
func emittedAgain(p *emit.Program, s *report.Signoff) (map[string][]byte, error) {
	for _, t := range s.Build {
		if !t.IsPlain() {
			return nil, fmt.Errorf("gives target %s a compiler or options that no job can name",
				report.Visible(t.Name))
		}
	}
	return programFiles(p, s.Build)
}

// program reads what the C is emitted from out of the files of the folder.
func (v *Verification) program(s *report.Signoff) (*emit.Program, error) {
	text, there := v.files[s.Name+emit.NetworkSuffix]
	if !there {
		return nil, fmt.Errorf("is missing")
	}
	f, err := emit.ReadNetworkFile(text)
	if err != nil {
		return nil, err
	}
	net, err := f.Network()
	if err != nil {
		return nil, err
	}
	steps, err := f.Vectors()
	if err != nil {
		return nil, err
	}
	if f.ModelVersion != s.ModelVersion {
		return nil, fmt.Errorf("names another version of the model than signoff.json")
	}
	p := newProgram(s, net, f.Period, steps)
	if p.Ranges, err = f.Ranges(); err != nil {
		return nil, err
	}
	p.Front, p.FrontVectors, err = f.FrontEnd(net)
	return p, err
}

// compareNetwork compares the network with what signoff.json says of it; the error names the first
// difference.
func compareNetwork(net *quant.Network, s *report.Signoff) error {
	var names []string
	for _, f := range net.Features {
		names = append(names, f.Name)
	}
	if !slices.Equal(names, s.Kept.Features) {
		return fmt.Errorf("keeps other features than the network has")
	}
	if !slices.EqualFunc(net.Layers, s.Kept.Units, func(l *quant.Layer, kept []int) bool {
		return l.Units == len(kept)
	}) {
		return fmt.Errorf("keeps another number of units than the network has")
	}
	matrices := net.Matrices()
	if len(matrices) != len(s.Formats) {
		return fmt.Errorf("has %d formats for %d matrices", len(s.Formats), len(matrices))
	}
	for i, m := range matrices {
		f := s.Formats[i]
		// An offset that is added behind the sum enters the bound before it is rounded: one more at
		// most.
		bound := m.MaxBound()
		if f.Layer+"."+f.Tensor != m.Name || f.WordBits != m.WordBits ||
			!slices.Equal(f.FractionBits, m.Fraction) || f.Limit != quant.AccumulatorLimit ||
			f.Bound < bound || f.Bound > bound+1 {
			return fmt.Errorf("states other formats or another bound of %s than the network has",
				m.Name)
		}
	}
	return nil
}

// compareFront compares the front end with what signoff.json says of it.
func compareFront(p *emit.Program, s *report.Signoff) error {
	tables, state := 0, 0
	if p.Front != nil {
		n := p.Front.Integer
		tables = n.TableBytes(len(p.Net.Features) - len(p.Front.Index))
		state = n.StateBytes()
	}
	for _, row := range s.Cost {
		want := float64(state)
		switch row.Part {
		case budget.FrontTablesPart:
			want = float64(tables)
		case budget.FrontStatePart:
		default:
			continue
		}
		if row.Kind == budget.Exact && row.Value != want {
			return fmt.Errorf("has %g B in %s, the front end of the network has %g B", row.Value,
				report.Visible(budget.RowText(row.Target, string(row.Resource), row.Part)), want)
		}
	}
	return nil
}

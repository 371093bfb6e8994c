package dataset

import (
	"io"

	"kerf/fault"
)

// Feature is one input of the network at a time step.
type Feature struct {
	Name     string
	Channel  string  // where it is measured
	Kind     string  // what is computed: level, slope, amplitude, ...
	Unit     string  // of the physical value
	Mean     float64 // the network sees (physical - Mean) / Std
	Std      float64 // above 0
	FrontEnd string  // cost group of the code that computes the feature; may be empty

	// Computed is how the feature follows from samples, see package frontend; empty where it is
	// given. The recordings have Scale·computed + Offset, brought into (-π, π] if Wrap is set.
	Computed      string
	Scale, Offset float64
	Wrap          bool

	Line int // of features.csv, 1-based
}

// Output is one predicted quantity, or the score of one class.
type Output struct {
	Name string
	Unit string  // of the physical value
	Mean float64 // physical value = raw output of the network * Std + Mean
	Std  float64 // above 0
	Line int     // of outputs.csv, 1-based
}

// FeatureNames lists the names of features, in their order.
func FeatureNames(features []Feature) []string {
	names := make([]string, len(features))
	for i, f := range features {
		names[i] = f.Name
	}
	return names
}

// OutputNames lists the names of outputs, in their order.
func OutputNames(outputs []Output) []string {
	names := make([]string, len(outputs))
	for i, o := range outputs {
		names[i] = o.Name
	}
	return names
}

// ReadFeatures reads features.csv, with the columns name, channel, kind, unit, mean, std and, if
// wanted, front_end, computed, scale, offset, wrap: one line per input, in the order of the
// network. Errors about the content are of kind [ErrInput].
func ReadFeatures(r io.Reader, file string) ([]Feature, error) {
	t, err := OpenTable(r, file)
	if err != nil {
		return nil, err
	}
	index, err := t.NeedAll("features.csv has the columns name, channel, kind, unit, mean, std "+
		"and, if wanted, front_end", "name", "channel", "kind", "unit", "mean", "std")
	if err != nil {
		return nil, err
	}
	frontEnd, hasFrontEnd := t.Has("front_end")
	seen := map[string]bool{}
	var features []Feature
	for {
		ok, err := t.Next()
		if err != nil {
			return nil, err
		}
		if !ok {
			break
		}
		words, err := t.names(index[:4])
		if err != nil {
			return nil, err
		}
		f := Feature{Name: words[0], Channel: words[1], Kind: words[2], Unit: words[3],
			Line: t.Line}
		if hasFrontEnd {
			if f.FrontEnd, err = t.Name(frontEnd); err != nil {
				return nil, err
			}
		}
		if err := t.computed(&f); err != nil {
			return nil, err
		}
		if f.Mean, f.Std, err = t.identity(f.Name, seen, index[0], index[4], index[5]); err != nil {
			return nil, err
		}
		features = append(features, f)
	}
	if len(features) == 0 {
		return nil, &fault.Error{Kind: ErrInput, File: file, Msg: "no feature is declared",
			Hint: "one line per input of the network, in its order"}
	}
	return features, nil
}

// computed reads how a feature follows from samples, where the table says so.
func (t *Table) computed(f *Feature) error {
	at, has := t.Has("computed")
	if !has {
		return nil
	}
	f.Computed, f.Scale = t.Text(at), 1
	for _, number := range []struct {
		column string
		to     *float64
	}{{"scale", &f.Scale}, {"offset", &f.Offset}} {
		if at, has := t.Has(number.column); has && t.Text(at) != "" {
			var err error
			if *number.to, err = t.Number(at); err != nil {
				return err
			}
		}
	}
	if at, has := t.Has("scale"); has && f.Scale == 0 {
		return t.Fail(at, "a scale of 0 leaves nothing", "leave it empty for 1")
	}
	if at, has := t.Has("wrap"); has {
		switch text := t.Text(at); text {
		case "", "no":
		case "yes":
			f.Wrap = true
		default:
			return t.Fail(at, quoted(text)+" is neither yes nor no", "yes brings the value into "+
				"-pi to pi")
		}
	}
	return nil
}

// ReadOutputs reads outputs.csv, with the columns name, unit, mean and std: one line per output, in
// the order of the network. Errors about the content are of kind [ErrInput].
func ReadOutputs(r io.Reader, file string) ([]Output, error) {
	t, err := OpenTable(r, file)
	if err != nil {
		return nil, err
	}
	index, err := t.NeedAll("outputs.csv has the columns name, unit, mean, std", "name", "unit",
		"mean", "std")
	if err != nil {
		return nil, err
	}
	seen := map[string]bool{}
	var outputs []Output
	for {
		ok, err := t.Next()
		if err != nil {
			return nil, err
		}
		if !ok {
			break
		}
		words, err := t.names(index[:2])
		if err != nil {
			return nil, err
		}
		o := Output{Name: words[0], Unit: words[1], Line: t.Line}
		if o.Mean, o.Std, err = t.identity(o.Name, seen, index[0], index[2], index[3]); err != nil {
			return nil, err
		}
		outputs = append(outputs, o)
	}
	if len(outputs) == 0 {
		return nil, &fault.Error{Kind: ErrInput, File: file, Msg: "no output is declared",
			Hint: "one line per output of the network, in its order"}
	}
	return outputs, nil
}

// IsKey reports whether a column of recordings says what its rows are of, and is no quantity.
func IsKey(column string) bool {
	return column == "sequence" || column == "scenario" || column == "t"
}

// identity checks the name of a feature or output, which must differ from those seen before, and
// reads its mean and std.
func (t *Table) identity(name string, seen map[string]bool, nameColumn, meanColumn,
	stdColumn int) (mean, std float64, err error) {
	switch {
	case name == "":
		return 0, 0,
			t.Fail(nameColumn, "the name is empty", "recordings find their columns by this name")
	case seen[name]:
		return 0, 0, t.Fail(nameColumn, "the name "+name+" stands twice", "names must differ")
	case IsKey(name):
		return 0, 0, t.Fail(nameColumn, "the name "+name+" is taken by a column of the recordings",
			"choose another name")
	case name == forAll:
		return 0, 0, t.Fail(nameColumn, `"all" cannot name a feature or output`,
			`"all" stands for all of them together; choose another name`)
	}
	seen[name] = true
	if mean, err = t.Number(meanColumn); err != nil {
		return 0, 0, err
	}
	if std, err = t.Number(stdColumn); err != nil {
		return 0, 0, err
	}
	if std > 0 && std < 1/largestNumber {
		return 0, 0, t.Fail(stdColumn, "mean and std must lie within what float32 holds",
			"choose a unit in which the values are nearer to 1")
	}
	if std <= 0 {
		return 0, 0,
			t.Fail(stdColumn, "std must be above 0", "a constant feature carries nothing: take "+
				"it out of the network, or write mean 0 and std 1 if the normalisation is in "+
				"the weights")
	}
	return mean, std, nil
}

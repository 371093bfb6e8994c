package draft

import (
	"encoding/csv"
	"fmt"
	"strconv"
	"strings"
	"unicode"

	"kerf/dataset"
	"kerf/model"
	"kerf/targets"
)

// channelAndKind splits a name at the underscore where most other names have the same beginning and
// most the same end: supply_ripple_amplitude, among others of supply and others with
// ripple_amplitude, is channel supply and kind ripple_amplitude. A name that shares nothing is a
// channel by itself.
func channelAndKind(name string, all []string) (channel, kind string) {
	channel = name
	most := 0
	for i, r := range name {
		if r != '_' {
			continue
		}
		front, back := name[:i], name[i+1:]
		fronts, backs := 0, 0
		for _, other := range all {
			if other != name && (other == front || strings.HasPrefix(other, front+"_")) {
				fronts++
			}
			if other != name && strings.HasSuffix(other, "_"+back) {
				backs++
			}
		}
		if n := fronts * (1 + backs); fronts > 0 && n > most {
			channel, kind, most = front, back, n
		}
	}
	return channel, kind
}

// FeaturesCSV returns features.csv of the draft.
func (d *Draft) FeaturesCSV() []byte {
	rows := [][]string{{"name", "channel", "kind", "unit", "mean", "std"}}
	for _, f := range d.Features {
		rows = append(rows,
			[]string{f.Name, f.Channel, f.Kind, f.Unit, nineDigits(f.Mean), nineDigits(f.Std)})
	}
	return csvText(rows)
}

// OutputsCSV returns outputs.csv of the draft, or nothing for a classifier.
func (d *Draft) OutputsCSV() []byte {
	if d.Column != "" {
		return nil
	}
	rows := [][]string{{"name", "unit", "mean", "std"}}
	for _, o := range d.Outputs {
		rows = append(rows, []string{o.Name, o.Unit, nineDigits(o.Mean), nineDigits(o.Std)})
	}
	return csvText(rows)
}

// nineDigits writes a number so that a float32, in which networks are trained, stays the same.
func nineDigits(v float64) string { return strconv.FormatFloat(v, 'g', 9, 64) }

func csvText(rows [][]string) []byte {
	var b strings.Builder
	w := csv.NewWriter(&b)
	w.WriteAll(rows) // writing to memory does not fail
	return []byte(b.String())
}

// FillIn marks values that only the user knows, Guess values that may be wrong.
const (
	FillIn = "FILL IN"
	Guess  = "GUESS"
)

// TOML returns job.toml of the draft, with a comment behind every guess. The job runs as soon as
// the values marked [FillIn] are there.
func (d *Draft) TOML() []byte {
	var b strings.Builder
	say := func(format string, args ...any) { fmt.Fprintf(&b, format+"\n", args...) }
	say("# A draft by kerf init. %s: kerf plan refuses the job without it. %s: look at it. All "+
		"keys: docs/job.md.", FillIn, Guess)
	for _, line := range d.fitLines() {
		say("# %s", line)
	}
	say("")
	say("name = %s  # %s: prefix of every C identifier", targets.TOMLString(d.Name), Guess)
	d.sayModel(say)
	say("\n[recordings]\nselection = %s  # may be used to choose", targets.TOMLString(d.Selection))
	switch len(d.Signoff) {
	case 0:
		say("signoff = \"\"  # %s: recordings that only judge; other ones than those above", FillIn)
	case 1:
		say("signoff = %s  # only judges", targets.TOMLString(d.Signoff[0]))
	default:
		var names []string
		for _, s := range d.Signoff {
			names = append(names, targets.TOMLString(s))
		}
		say("signoff = [%s]  # only judge", strings.Join(names, ", "))
	}
	say("\n[features]")
	say("# %s: names and order are those of the columns of the recording; channel and kind "+
		"follow from the names; units are empty.", Guess)
	say("# %s: mean and std: %s.", Guess, d.Normalised)
	if len(d.Ignored) > 0 {
		say("# %s: columns that are neither feature nor output: %s.", Guess,
			oneLine(dataset.ListNames(d.Ignored)))
	}
	say("file = \"features.csv\"")
	say("\n[outputs]")
	tolerance := `{ rmse_rise = "5 %" }`
	names := make([]string, 0, len(d.Outputs))
	if d.Column == "" {
		say("# %s: names and order are those of the columns of the recording; units are empty.",
			Guess)
		say("# %s: mean and std: %s.", Guess, d.Scaled)
		say("file = \"outputs.csv\"")
		for _, o := range d.Outputs {
			names = append(names, o.Name)
		}
	} else {
		var classes []string
		for _, c := range d.Classes {
			classes = append(classes, targets.TOMLString(c))
		}
		say("# %s: which class is which output of the network.", Guess)
		say("classes = [%s]\ncolumn = %s  # %s", strings.Join(classes, ", "),
			targets.TOMLString(d.Column), Guess)
		names, tolerance = []string{d.Column}, `{ accuracy_drop = "1 %" }`
	}
	say("\n[tolerance]  # %s: what may get worse against the float network; docs/job.md lists the "+
		"other kinds", Guess)
	for _, n := range names {
		say("%s = %s", targets.TOMLKey(n), tolerance)
	}
	say("\n[[target]]")
	say("profile = \"cortex-m4f\"  # %s: kerf targets list names the others", Guess)
	say("clock = \"64 MHz\"  # %s", Guess)
	say("# Limits; one that is left out is not judged.")
	say("# flash = \"24 KiB\"\n# ram = \"2 KiB\"\n# step_time = \"1 ms\"\n# period = \"100 ms\"")
	return []byte(b.String())
}

// sayModel writes the table of the network. Where the recording leaves a choice, its keys are
// comments: package budget refuses a job without model.file.
func (d *Draft) sayModel(say func(format string, args ...any)) {
	comment := ""
	if d.IsOpen() {
		comment = "#"
		say("\n[model]  # %s: which reading of the file. It does not say all, and the recording "+
			"does not tell", FillIn)
		say("# these %d readings apart. Take the # off the lines of one, from file to the last ].",
			len(d.Choices))
	} else {
		say("\n[model]")
	}
	for i, c := range d.Choices {
		if d.IsOpen() {
			say("# Reading %d explains %s:", i+1, d.shares(c.Fit))
			for _, r := range c.Rescaled {
				say("# (%s)", oneLine(r.String()))
			}
		}
		say("%sfile = %s", comment, targets.TOMLString(d.Model))
		if d.Convention != "" {
			say("%sconvention = %s", comment, targets.TOMLString(d.Convention))
		}
		if len(c.Layers) == 0 || c.Inferred {
			continue
		}
		if !d.IsOpen() {
			most := "this one explains most"
			if d.NextIsBetter {
				most = "this one explains most of those that are usual"
			}
			say("# %s: the file does not say this. Of %d ways to read it %s: %s.", Guess,
				d.Readings, most, d.shares(c.Fit))
		}
		say("%slayer = [", comment)
		for _, l := range c.Layers {
			say("%s    { %s },", comment, d.layer(l))
		}
		say("%s]", comment)
	}
	if d.Next == nil {
		return
	}
	if best := d.Choices[0]; best.Inferred {
		say("# %s: the file is read as %s.", Guess, oneLine(best.String()))
	}
	say("# The next best way to read it explains %s: %s.", d.shares(d.Next.Fit),
		oneLine(d.Next.String()))
	if d.NextIsBetter {
		say("# %s: it explains more, but has what is not usual, and does not halve the error.",
			Guess)
	}
}

// layer writes a layer as the inside of a TOML table.
func (d *Draft) layer(l model.LayerSpec) string {
	var keys []string
	if l.Name != "" || d.Convention == "torch" {
		keys = append(keys, "name = "+targets.TOMLString(l.Name))
	}
	switch {
	case l.Cell != "":
		keys = append(keys, "cell = "+targets.TOMLString(l.Cell))
	case l.Activation != "":
		keys = append(keys, "activation = "+targets.TOMLString(l.Activation))
	}
	return strings.Join(keys, ", ")
}

// shares lists what is explained of every output.
func (d *Draft) shares(fits []Fit) string {
	var parts []string
	for _, f := range fits {
		parts = append(parts, fmt.Sprintf("%.2f %% of %s", 100*f.Share, oneLine(f.Output)))
	}
	return strings.Join(parts, ", ")
}

// fitLines say how near the network with the guesses comes to the recorded outputs.
func (d *Draft) fitLines() []string {
	var lines []string
	for _, f := range d.Fit() {
		what := "of the variance of " + f.Output + " is explained by the network with these guesses"
		if d.Column != "" {
			what = "of the steps have the right " + f.Output + " with these guesses"
		}
		lines = append(lines,
			oneLine(fmt.Sprintf("%.1f %% %s (%d steps of the selection recording).", 100*f.Share,
				what, d.Steps)))
	}
	for _, r := range d.Choices[0].Rescaled {
		lines = append(lines, Guess+": "+oneLine(r.String())+".")
	}
	if d.explainsLittle() {
		lines = append(lines, Guess+": that is little. The order of the columns, or mean and "+
			"std, are probably not those of the training.")
	}
	return lines
}

// oneLine keeps text from a file inside its comment.
func oneLine(text string) string {
	isGap := func(r rune) bool { return unicode.IsSpace(r) || dataset.IsHidden(r) }
	return strings.Join(strings.FieldsFunc(text, isGap), " ")
}

package report

import (
	"strings"

	"kerf/budget"
	"kerf/exporter/emit"
	"kerf/model"
	"kerf/prune"
	"kerf/quant"
)

// Caution goes wherever figures are read.
const Caution = "Figures are engineering estimates until measured on the device. Where people " +
	"can be harmed, the applicable functional-safety standard, local codes and a qualified " +
	"engineer decide, not this tool."

// Schema is the version of signoff.json: it changes when a field gets another meaning.
const Schema = 1

// Signoff is the content of the sign-off report. Every rendering (terminal,
// Markdown, CSV, HTML, JSON) is made from it; numbers keep full precision.
type Signoff struct {
	Schema  int            `json:"schema"`
	Name    string         `json:"name"`
	Verdict budget.Verdict `json:"verdict"`
	Kerf    string         `json:"kerf"` // version
	Network NetworkInfo    `json:"network"`
	Kept    Kept           `json:"kept"`
	Dropped Dropped        `json:"dropped"`
	Formats []FormatRow    `json:"formats"`
	Loss    []LossRow      `json:"loss"`
	Cost    []CostRow      `json:"cost"`
	Freed   []budget.Freed `json:"freed"`
	// targets on which it matters where the weights are
	Placements []budget.Placement `json:"weights_place"`
	Path       []PathRow          `json:"path"`
	Frontier   FrontierInfo       `json:"frontier"`
	Widths     []WidthRow         `json:"widths"`
	Forced     []ForcedRow        `json:"forced"` // words that stay wide, and the units that need them
	// when a tolerance is broken: what each next wider word gives
	Wider    []WidthRow    `json:"widening"`
	Blame    *BlameRow     `json:"blame"` // nil: no tolerance is broken
	Rounding []RoundingRow `json:"rounding"`
	Recovery *RecoveryInfo `json:"recovery"` // nil: the weights are those given
	// how cost was measured; none: it is estimated
	Measured []MeasuredInfo     `json:"measured,omitempty"`
	Build    []emit.BuildTarget `json:"build"` // what the build files say
	Inputs   []budget.InputFile `json:"inputs"`
	Recorded []RecordedRow      `json:"recordings"`

	Pictures

	Extremes     []ExtremeRow     `json:"extremes,omitempty"` // none: nothing was searched
	Accumulators []AccumulatorRow `json:"accumulators,omitempty"`

	// what keeps the verdict from "fits", by how much, and where more is said
	Reason string `json:"reason"`
	// findings against the network as given or the recordings
	Causes []CauseRow `json:"causes"`
	// the job's reason to let the verdict stand against causes
	Checked string `json:"checked"`
	Tried   int    `json:"tried"` // other readings of the job that were tried
	// of these the one that makes an error least; nil where none makes one smaller
	Nearest   *CauseRow      `json:"nearest"`
	Explained []ExplainedRow `json:"explained"` // shares of the variance that the networks explain
	Start     *StartInfo     `json:"start"`     // nil: every step counts
	Settling  *SettlingInfo  `json:"settling"`  // nil: no tolerance says what a difference is

	Sums *SumsInfo `json:"sums"` // nil: the loss is not of sign-off recordings, or kerf is older

	// which recordings the loss is measured on
	MeasuredOn budget.RecordingSet `json:"measured_on"`
	Warnings   []string            `json:"warnings"`
	Caution    string              `json:"caution"`
}

// NetworkInfo describes the network before and after.
type NetworkInfo struct {
	Trained         string `json:"trained"` // layers as given
	Kept            string `json:"kept"`    // layers after the cut
	TrainedFeatures int    `json:"trained_features"`
	TrainedUnits    int    `json:"trained_units"`
	Features        int    `json:"features"`
	Units           int    `json:"units"`
	Outputs         int    `json:"outputs"`
	Formats         string `json:"formats"`
	InputFraction   int    `json:"input_fraction_bits"`
}

// Kept names what stays; units count in the trained network, one list per
// recurrent layer.
type Kept struct {
	Features []string `json:"features"`
	Units    [][]int  `json:"units"`
}

// Dropped names what goes.
type Dropped struct {
	Features  []string `json:"features"`
	Units     [][]int  `json:"units"`
	FrontEnds []string `json:"front_ends"` // cost groups freed with their last feature
}

// FormatRow is the fixed-point format of one tensor.
type FormatRow struct {
	Layer        string `json:"layer"`
	Tensor       string `json:"tensor"`
	WordBits     int    `json:"word_bits"`
	FractionBits []int  `json:"fraction_bits"` // per row
	Bound        int64  `json:"bound"`         // largest magnitude of an accumulator, over all rows
	Limit        int64  `json:"limit"`
}

// LossRow is one row of the accuracy table.
type LossRow struct {
	budget.RowName
	Unit        string             `json:"unit"`
	Float       float64            `json:"float"`
	Cut         float64            `json:"cut"`
	Recovered   *float64           `json:"recovered"` // nil without recovery training
	Fixed       float64            `json:"fixed"`
	FixedLow    *float64           `json:"fixed_low"`
	FixedHigh   *float64           `json:"fixed_high"`
	Rise        *float64           `json:"rise"`
	RiseLow     *float64           `json:"rise_low"`
	RiseHigh    *float64           `json:"rise_high"`
	Sequences   int                `json:"sequences"`
	Steps       int                `json:"steps"`
	Tolerance   *float64           `json:"tolerance"`
	ToleranceOn budget.ToleranceOn `json:"tolerance_on"` // empty without a tolerance
	// file, line and key of the job; empty without a tolerance
	From string `json:"tolerance_from"`
	// of the upper end of the interval, as a fraction of the tolerance
	Margin *float64 `json:"margin"`
	// measured: on the recordings, by the network named in the column
	Kind    budget.Kind    `json:"kind"`
	Verdict budget.Verdict `json:"verdict"`
	WouldDo int            `json:"would_do,omitempty"` // sequences that would do for a verdict
	// of steps that the intervals rest on; 0: they rest on sequences
	Blocks     int `json:"blocks,omitempty"`
	BlockSteps int `json:"block_steps,omitempty"`
}

// WidthRow is one attempt to narrow or widen a word, on selection recordings.
type WidthRow struct {
	What  string `json:"what"`
	Bits  int    `json:"bits"`
	Saved int    `json:"saved"` // B; below 0 it costs
	Taken bool   `json:"taken"`
	Tightest
	Blamed *float64 `json:"blamed_may_reach"` // the row of blame; nil where there is none
}

// BlameRow is the row of a broken tolerance, on selection recordings, and the wider word with which
// it may reach the least.
type BlameRow struct {
	Tightest      string             `json:"tightest"` // the row
	MayReach      *float64           `json:"may_reach"`
	FloatMayReach *float64           `json:"float_may_reach"`
	Tolerance     float64            `json:"tolerance"`
	On            budget.ToleranceOn `json:"tolerance_on"`
	What          string             `json:"what"` // tensor or state; empty: no word is to blame
	Bits          int                `json:"bits"`
}

// ForcedRow is one word that stays wide, with the fewest units that need it, on
// selection recordings.
type ForcedRow struct {
	What    string `json:"what"`
	Bits    int    `json:"bits"`
	Refused int    `json:"refused_bits"`
	Tightest
	Of           string              `json:"of"` // units (numbered as trained) or outputs
	Units        []budget.ForcedUnit `json:"units"`
	All          int                 `json:"all"`            // units or outputs there are
	RestMayReach *float64            `json:"rest_may_reach"` // when only these keep the wide word
	RestTightest string              `json:"rest_tightest"`
	RestRow      *budget.RowName     `json:"rest_tightest_row,omitempty"`
	RestUsed     *float64            `json:"rest_used"` // the largest share of any tolerance then
	OneLess      *float64            `json:"one_less"`  // without the last of them; nil where there is one
}

// RoundingRow is what one way of rounding gives on selection recordings that it
// was not calibrated on.
type RoundingRow struct {
	Rounding string `json:"rounding"`
	// from the float network: root sum square over outputs, in its RMSEs
	Distance *float64 `json:"distance"`
	Taken    bool     `json:"taken"`
	Tightest
}

// RecordedRow says how much was recorded.
type RecordedRow struct {
	Use       budget.Role `json:"use"` // [budget.SelectionRole] or [budget.SignoffRole]
	Sequences int         `json:"sequences"`
	Steps     int         `json:"steps"`
	Scenarios int         `json:"scenarios"`
}

// NewSignoff makes the report of a result.
func NewSignoff(r *budget.Result, version string) *Signoff {
	in, net := r.Inputs, r.Chosen.Fixed
	c := r.Chosen.Candidate
	_, freed := in.FrontEnds(c)
	s := &Signoff{
		Schema: Schema, Name: in.Job.Name, Verdict: r.Verdict, Kerf: version, Caution: Caution,
		MeasuredOn: budget.SignoffSet,
		Loss:       []LossRow{}, Cost: []CostRow{}, Freed: []budget.Freed{},
		Placements: []budget.Placement{},
		Path:       []PathRow{}, Widths: []WidthRow{}, Forced: []ForcedRow{}, Wider: []WidthRow{},
		Rounding: []RoundingRow{}, Warnings: append([]string{}, r.Warnings...),
		Network: NetworkInfo{
			Trained: in.Float.Net.String(), Kept: r.Chosen.CutNet.Net.String(),
			TrainedFeatures: in.Float.Net.Inputs(), TrainedUnits: len(prune.Units(in.Float.Net)),
			Features: len(c.Features), Units: c.UnitCount(), Outputs: len(in.Float.Outputs),
			Formats:       c.Formats.String(),
			InputFraction: net.InputFraction,
		},
		Kept: Kept{Features: in.KeptFeatures(c), Units: c.Units},
		Dropped: Dropped{Features: append([]string{}, in.DroppedFeatures(c)...),
			Units: missing(in.Float.Net, c.Units), FrontEnds: []string{}},
		Recorded: []RecordedRow{
			{budget.SelectionRole, len(in.Selection.Sequences), in.Selection.Steps(),
				len(in.Selection.Scenarios())},
			{budget.SignoffRole, len(in.Signoff.Sequences), in.Signoff.Steps(),
				len(in.Signoff.Scenarios())},
		},
	}
	s.Build = emit.BuildTargets(in)
	for _, g := range freed {
		s.Dropped.FrontEnds = append(s.Dropped.FrontEnds, g.Name)
	}
	for _, m := range net.Matrices() {
		layer, tensor, _ := strings.Cut(m.Name, ".")
		s.Formats = append(s.Formats,
			FormatRow{layer, tensor, m.WordBits, m.Fraction, m.MaxBound(), quant.AccumulatorLimit})
	}
	s.addExtremes(net, r.Extremes)
	if c := r.Chosen.Candidate.Recovered; c != nil {
		s.Recovery = recoveryInfo(c)
	}
	for _, l := range r.Loss {
		s.Loss = append(s.Loss, lossRow(l, in.ToleranceFrom(l)))
	}
	for _, c := range r.Costs {
		before := budget.ValueOf(r.Before, c.Target, c.Resource, c.Part)
		s.Cost = append(s.Cost,
			CostRow{c.Target, c.Profile, c.Resource, c.Part, c.Value, before, c.Unit,
				c.Kind, Finite(c.Estimate), c.Estimated, Finite(c.Limit), c.AtLeast,
				in.LimitFrom(c), Finite(c.Margin()), c.Verdict})
	}
	for _, m := range r.Measured {
		s.Measured = append(s.Measured, measuredInfo(m))
	}
	s.Freed, s.Placements = append(s.Freed, r.Freed...), append(s.Placements, r.Places...)
	for _, p := range r.Cut.Path {
		s.Path = append(s.Path, pathRow(p))
	}
	s.Frontier = frontierInfo(in, r.Frontier)
	for _, w := range r.Chosen.Widths {
		s.Widths = append(s.Widths, widthRow(w))
	}
	for _, w := range r.Chosen.Wider {
		row := widthRow(w)
		row.Blamed = Finite(r.Blame.RowMayReach(w))
		s.Wider = append(s.Wider, row)
	}
	if r.Blame != nil {
		s.Blame = blameRow(r.Blame)
	}
	for _, f := range r.Chosen.Forced {
		s.Forced = append(s.Forced, forcedRow(f))
	}
	for _, w := range r.Chosen.Roundings {
		s.Rounding = append(s.Rounding, RoundingRow{w.Rounding.String(), Finite(w.Distance),
			w.Rounding == c.Rounding, newTightest(w.Tightest)})
	}
	s.Inputs = append(s.Inputs, in.Files...)
	s.addExamination(r)
	s.addSums(r)
	s.Reason = s.WhyNot()
	return s
}

func lossRow(l budget.Loss, from string) LossRow {
	row := LossRow{
		RowName: l.RowName, Unit: l.Unit,
		Float: l.Float, Cut: l.Cut, Recovered: Finite(l.Recovered), Fixed: l.Fixed,
		FixedLow: Finite(l.FixedLow), FixedHigh: Finite(l.FixedHigh),
		Rise: Finite(l.Rise), RiseLow: Finite(l.RiseLow), RiseHigh: Finite(l.RiseHigh),
		Sequences: l.Sequences, Steps: l.Steps, Margin: Finite(l.Margin()),
		Kind: budget.Measured, Verdict: l.Verdict, WouldDo: l.WouldDo,
		Blocks: l.Blocks, BlockSteps: l.BlockSteps,
	}
	if l.Judged {
		row.Tolerance, row.ToleranceOn, row.From = Finite(l.Tolerance), l.On(), from
	}
	return row
}

func widthRow(w budget.WidthStep) WidthRow {
	return WidthRow{What: w.What, Bits: w.Bits, Saved: w.Saved, Taken: w.Taken,
		Tightest: newTightest(w.Tightest)}
}

func blameRow(b *budget.Blame) *BlameRow {
	row := &BlameRow{
		Tightest: rowInWords(b.Row.RowName), MayReach: Finite(b.Row.MayReach),
		FloatMayReach: Finite(b.Row.FloatMayReach),
		Tolerance:     b.Row.Tolerance, On: b.Row.On(),
	}
	if b.Step != nil {
		row.What, row.Bits = b.Step.What, b.Step.Bits
	}
	return row
}

func forcedRow(f budget.Forced) ForcedRow {
	rest := newTightest(f.Rest)
	row := ForcedRow{
		What: f.What, Bits: f.Bits, Refused: f.Narrower, Tightest: newTightest(f.Tightest),
		Of: f.Of, Units: append([]budget.ForcedUnit{}, f.Rows...), All: f.All,
		RestMayReach: rest.MayReach, RestTightest: rest.RowInWords, RestRow: rest.Row,
		RestUsed: Finite(f.RestUsed),
	}
	if len(f.Rows) > 1 {
		row.OneLess = Finite(f.OneLess)
	}
	return row
}

// missing lists, per layer, the units that are not kept.
func missing(net *model.Network, kept [][]int) [][]int {
	var gone [][]int
	for i, l := range net.Recurrent {
		gone = append(gone, prune.Without(l.Units, kept[i]...))
	}
	return gone
}

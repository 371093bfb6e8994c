package report

import (
	"slices"
	"strings"

	"kerf/budget"
	"kerf/exporter/emit"
	"kerf/model"
	"kerf/prune"
	"kerf/quant"
)

// Caution stands wherever figures are read.
const Caution = "Figures are engineering estimates until measured on the device. Where people " +
	"can be harmed, the applicable functional-safety standard, local codes and a qualified " +
	"engineer decide, not this tool."

// Schema is the version of signoff.json: it grows when a field gets another meaning.
const Schema = 1

// Signoff is the content of the sign-off report. Every rendering (terminal, Markdown, CSV, HTML,
// JSON) is made from it; its numbers have full precision.
type Signoff struct {
	Schema  int            `json:"schema"`
	Name    string         `json:"name"`
	Verdict budget.Verdict `json:"verdict"`
	Kerf    string         `json:"kerf"` // version
	// what the job calls the state of the network; empty: it does not say
	ModelVersion string `json:"model_version,omitempty"`

	Network NetworkInfo    `json:"network"`
	Kept    Kept           `json:"kept"`
	Dropped Dropped        `json:"dropped"`
	Formats []FormatRow    `json:"formats"`
	Loss    []LossRow      `json:"loss"`
	Cost    []CostRow      `json:"cost"`
	Freed   []budget.Freed `json:"freed"`
	// Totals of the targets on which they depend on the place of the weights.
	Placements []budget.Placement `json:"weights_place"`
	// Totals of the targets that can have their rows read by plain C, in both forms.
	Forms    []budget.FormCost `json:"code_forms,omitempty"`
	Path     []PathRow         `json:"path"`
	Frontier FrontierInfo      `json:"frontier"`
	Widths   []WidthRow        `json:"widths"`
	// words that stay wide, and the units that need them
	Forced []ForcedRow `json:"forced"`
	// Attempts with each next wider word; none where no tolerance is broken.
	Wider    []WidthRow    `json:"widening"`
	Blame    *BlameRow     `json:"blame"` // nil: no tolerance is broken
	Rounding []RoundingRow `json:"rounding"`
	Recovery *RecoveryInfo `json:"recovery"` // nil: the weights are those given
	// what the search trained; none without [recovery] in the job
	Attempts []AttemptRow `json:"trained,omitempty"`
	// How the cost of each target was measured; none where it is estimated.
	Measured []MeasuredInfo     `json:"measured,omitempty"`
	Build    []emit.BuildTarget `json:"build"` // figures of the build files
	Inputs   []budget.InputFile `json:"inputs"`
	Recorded []RecordedRow      `json:"recordings"`

	Pictures

	Chain *ChainInfo `json:"chain,omitempty"` // nil: the job has no samples

	Extremes     []ExtremeRow     `json:"extremes,omitempty"` // none: nothing was searched
	Accumulators []AccumulatorRow `json:"accumulators,omitempty"`

	Faults *FaultsInfo `json:"faults,omitempty"` // nil: nothing was tried, or of an older kerf

	// The clause that [Signoff.WhyNot] returns.
	Reason string `json:"reason"`
	// Findings against the network as given or the recordings.
	Causes []CauseRow `json:"causes"`
	// The job's reason to let the verdict stand against causes; empty: none.
	Checked string `json:"checked"`
	Tried   int    `json:"tried"` // other readings of the job that were tried
	// The reading that makes an error smallest; nil where none makes one smaller.
	Nearest   *CauseRow      `json:"nearest"`
	Explained []ExplainedRow `json:"explained"` // shares of the variance that the networks explain
	Start     *StartInfo     `json:"start"`     // nil: every step counts
	Settling  *SettlingInfo  `json:"settling"`  // nil: no tolerance defines a difference

	Sums *SumsInfo `json:"sums"` // nil: of selection recordings, or of an older kerf

	// The recordings that the accuracy is measured on.
	MeasuredOn budget.RecordingSet `json:"measured_on"`
	Warnings   []string            `json:"warnings"`
	Caution    string              `json:"caution"`
}

// NetworkInfo describes the network before and after the cut.
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

// Kept names what stays. Units are numbered as in the trained network, in one list per recurrent
// layer.
type Kept struct {
	Features []string `json:"features"`
	Units    [][]int  `json:"units"`
}

// Dropped names what goes, with units as in [Kept].
type Dropped struct {
	Features  []string `json:"features"`
	Units     [][]int  `json:"units"`
	FrontEnds []string `json:"front_ends"` // cost groups freed with their last feature
}

// RecordedRow says how much was recorded in one set of recordings.
type RecordedRow struct {
	Use       budget.Role `json:"use"` // [budget.SelectionRole] or [budget.SignoffRole]
	Sequences int         `json:"sequences"`
	Steps     int         `json:"steps"`
	Scenarios int         `json:"scenarios"`
}

// NewSignoff makes the report of a result by the given version of kerf, without pictures, which
// [NewPictures] makes.
func NewSignoff(r *budget.Result, version string) *Signoff {
	in, net := r.Inputs, r.Chosen.Fixed
	c := r.Chosen.Candidate
	_, freed := in.FrontEnds(c)
	s := &Signoff{
		Schema: Schema, Name: in.Job.Name, Verdict: r.Verdict, Kerf: version, Caution: Caution,
		ModelVersion: string(in.Job.Model.Version),
		MeasuredOn:   budget.SignoffSet,
		Loss:         []LossRow{}, Cost: []CostRow{}, Freed: []budget.Freed{},
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
	s.Build = emit.BuildTargets(in, r.Chosen.Candidate)
	for _, g := range freed {
		s.Dropped.FrontEnds = append(s.Dropped.FrontEnds, g.Name)
	}
	for _, m := range net.Matrices() {
		layer, tensor, _ := strings.Cut(m.Name, ".")
		s.Formats = append(s.Formats,
			FormatRow{layer, tensor, m.WordBits, m.Fraction, m.MaxBound(), quant.AccumulatorLimit})
	}
	s.addExtremes(net, r.Extremes)
	s.Faults = faultsInfo(r.Faults)
	s.addChain(r)
	if c := r.Chosen.Candidate.Recovered; c != nil {
		s.Recovery = recoveryInfo(c)
		if c.Scratch {
			s.Dropped.Units = prune.AllUnits(in.Float.Net)
		}
	}
	s.Attempts = attemptRows(in, r.Cut.Trained)
	for _, l := range r.Loss {
		s.Loss = append(s.Loss, lossRow(l, in.ToleranceFrom(l)))
	}
	for _, c := range r.Costs {
		before := budget.ValueOf(r.Before, c.Target, c.Resource, c.Part)
		s.Cost = append(s.Cost,
			CostRow{c.Target, c.Profile, c.Resource, c.Part, c.Value, before, c.Unit,
				c.Kind, Finite(c.Estimate), c.Estimated, Finite(c.Limit), c.AtLeast,
				in.LimitFrom(c), Finite(c.Margin()), c.Verdict, compilerOf(r, c), known(c)})
	}
	for _, m := range r.Measured {
		s.Measured = append(s.Measured, measuredInfo(m))
	}
	s.Freed, s.Placements = append(s.Freed, r.Freed...), append(s.Placements, r.Places...)
	s.Forms = r.Forms
	for _, p := range r.Cut.Path {
		s.Path = append(s.Path, pathRow(p))
	}
	s.Frontier = frontierInfo(in, r.Frontier)
	for _, z := range r.Trained {
		s.Frontier.Trained = append(s.Frontier.Trained, trainedRow(z))
	}
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
	if broken := s.brokenNote(); broken != "" {
		s.Warnings = slices.Insert(s.Warnings, min(len(s.Causes), 1), broken)
	}
	return s
}

// missing lists, per recurrent layer, the units that are not kept.
func missing(net *model.Network, kept [][]int) [][]int {
	var gone [][]int
	for i, l := range net.Recurrent {
		gone = append(gone, prune.Without(l.Units, kept[i]...))
	}
	return gone
}

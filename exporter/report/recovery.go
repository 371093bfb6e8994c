package report

import (
	"fmt"
	"strconv"
	"strings"

	"kerf/budget"
)

// RecoveryInfo says how the network was trained. Losses are those of [recovery.Epoch], on
// selection recordings that were held back.
type RecoveryInfo struct {
	From    string  `json:"from"`    // "cut", or "scratch": from drawn weights
	Formats string  `json:"formats"` // in which it ran; empty: as a float network
	Times   int     `json:"times"`   // trainings one after the other; what follows is of the last
	Epochs  int     `json:"epochs"`  // that were run
	Best    int     `json:"best"`    // that was kept, from 1; 0: none
	Start   float64 `json:"loss_before"`
	Loss    float64 `json:"loss_after"`
	Teacher float64 `json:"teacher"` // share of the network as given in the target
	Seed    uint64  `json:"seed"`
	Stopped string  `json:"stopped"` // why it ended before the last epoch, or ""
}

// recoveryInfo is made of a training; a network that no epoch made better keeps the loss from
// before.
func recoveryInfo(c *budget.Recovered) *RecoveryInfo {
	t := c.Result
	info := &RecoveryInfo{From: trainedFrom(c.Scratch), Times: c.Trainings,
		Epochs: len(t.Epochs), Best: t.Best,
		Start: t.Start, Loss: t.Start, Teacher: c.Settings.Share, Seed: c.Settings.Seed,
		Stopped: t.Stopped}
	if len(c.Formats.Layers) > 0 {
		info.Formats = c.Formats.String()
	}
	if t.Best > 0 {
		info.Loss = t.Epochs[t.Best-1].HeldBack
	}
	return info
}

// recoveryLegend explains the column of the recovered network; empty without one.
func (s *Signoff) recoveryLegend() string {
	if s.Recovery == nil {
		return ""
	}
	if s.Recovery.From == fromScratch {
		return "recovered: the network trained from scratch, in float; no cut led to it, and cut " +
			"shows the same; "
	}
	return "recovered: the cut network after recovery training, in float; "
}

// recoveryLines say how the training went; none without one.
func (s *Signoff) recoveryLines() []string {
	r := s.Recovery
	if r == nil {
		return nil
	}
	best := fmt.Sprintf("number %d is the best", r.Best)
	if r.Best == 0 {
		best = "none is better than what it began with"
	}
	epochs := Plural(r.Epochs, "epoch")
	if r.Times > 1 {
		epochs = fmt.Sprintf("%d trainings one after the other; of the last, with %s", r.Times,
			epochs)
	}
	lines := []string{fmt.Sprintf("Recovery training: %s, %s; loss on recordings held back %s, "+
		"before it %s.", epochs, best, Significant(r.Loss), Significant(r.Start))}
	if r.From == fromScratch {
		lines = append(lines, "The network was trained from scratch: its units are none of "+
			"those given.")
	}
	return lines
}

// Where a training begins.
const (
	fromCut     = "cut"
	fromScratch = "scratch"
)

func trainedFrom(scratch bool) string {
	if scratch {
		return fromScratch
	}
	return fromCut
}

// AttemptRow is a network that the search trained, judged on selection recordings that it was not
// trained on.
type AttemptRow struct {
	Units    []int    `json:"units"` // per recurrent layer
	Features []string `json:"features"`
	From     string   `json:"from"`    // as in [RecoveryInfo]
	Formats  string   `json:"formats"` // that it was trained in; empty: none
	Times    int      `json:"times"`   // trainings one after the other
	Rate     float64  `json:"rate"`    // of learning, in the last of them
	Seed     uint64   `json:"seed"`
	Half     bool     `json:"half"`           // trained for one half of the recordings alone
	Used     *float64 `json:"tolerance_used"` // the largest share that sign-off may show
	Tightest
	Within bool `json:"within"`
}

// attemptRows lists what the search trained, in its order.
func attemptRows(in *budget.Inputs, attempts []budget.Attempt) []AttemptRow {
	var rows []AttemptRow
	for _, a := range attempts {
		row := AttemptRow{Units: a.Units, From: trainedFrom(a.Scratch), Used: Finite(a.Used),
			Features: in.KeptFeatures(budget.Candidate{Features: a.Features}),
			Times:    a.Trainings, Rate: a.Settings.Rate, Seed: a.Settings.Seed,
			Half:     a.Half,
			Tightest: newTightest(a.Tightest), Within: a.Within()}
		if a.Formats != nil {
			row.Formats = a.Formats.String()
		}
		rows = append(rows, row)
	}
	return rows
}

// AttemptLegend explains the columns of [Signoff.AttemptTable]; empty without it.
func (s *Signoff) AttemptLegend() string {
	if len(s.Attempts) == 0 {
		return ""
	}
	return "What was trained: U, F: units and features; from, seed: of the start that was the " +
		"best; words: that it was rounded to in training; times: trainings one after the other; " +
		"rate: of learning, in the last of them; >: it was trained for one half of the " +
		"recordings alone, and uses so much there without an interval."
}

// AttemptTable shows what the search trained; it is of a job with [recovery].
func (s *Signoff) AttemptTable() Table {
	t := Table{Title: "What was trained, in the order of the search, on selection recordings",
		Head: []string{"from", "words", "U", "F", "seed", "times", "rate", "used",
			"tightest row"}, Numbers: 2, Words: 1}
	for _, a := range s.Attempts {
		units := make([]string, len(a.Units))
		for l, n := range a.Units {
			units[l] = strconv.Itoa(n)
		}
		words := a.Formats
		if words == "" {
			words = "float"
		}
		used := UsedPercent(a.Used)
		if a.Half {
			used = "> " + used
		}
		t.Rows = append(t.Rows, []string{a.From, words, strings.Join(units, "+"),
			strconv.Itoa(len(a.Features)), strconv.FormatUint(a.Seed, 10), strconv.Itoa(a.Times),
			strconv.FormatFloat(a.Rate, 'g', 2, 64), used, a.RowText})
	}
	return t
}

package report

import (
	"fmt"

	"kerf/budget"
)

// RecoveryInfo says how the cut network was trained. Losses are those of [recovery.Epoch], on
// selection recordings that were held back.
type RecoveryInfo struct {
	Formats string  `json:"formats"` // in which it ran
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
	info := &RecoveryInfo{Formats: c.Formats.String(), Epochs: len(t.Epochs), Best: t.Best,
		Start: t.Start, Loss: t.Start, Teacher: c.Settings.Share, Seed: c.Settings.Seed,
		Stopped: t.Stopped}
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
	return "recovered: the cut network after recovery training, in float; "
}

// recoveryLines say how the training went; none without one.
func (s *Signoff) recoveryLines() []string {
	r := s.Recovery
	if r == nil {
		return nil
	}
	return []string{fmt.Sprintf("Recovery training: %s, the best is number %d; loss on "+
		"recordings held back %s, before %s.", Plural(r.Epochs, "epoch"), r.Best,
		Significant(r.Loss), Significant(r.Start))}
}

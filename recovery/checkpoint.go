package recovery

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"

	"kerf/fault"
	"kerf/model"
	"kerf/whole"
)

// Checkpoint is a file that holds a training after its last complete epoch. A training that finds
// it goes on from there, and ends with the same network as one that was never interrupted.
type Checkpoint struct {
	File string
	// Key stands for everything that the training depends on; a file with another key is refused.
	Key string
}

// saved is the content of the file.
type saved struct {
	Key      string      `json:"key"`
	Start    float64     `json:"start"`
	Epochs   []Epoch     `json:"epochs"`
	Best     int         `json:"best"`
	BestLoss float64     `json:"best_loss"`
	Adam     *adam       `json:"adam"`
	Weights  [][]float64 `json:"weights"`
	Kept     [][]float64 `json:"best_weights"`
}

// save replaces the file; at no time does the file hold half a checkpoint. A nil checkpoint saves
// nothing.
func (c *Checkpoint) save(t *training) error {
	if c == nil {
		return nil
	}
	text, err := json.Marshal(saved{c.Key, t.result.Start, t.result.Epochs, t.result.Best,
		t.bestLoss, t.adam, t.net.Net.Values(), t.best.Values()})
	if err != nil {
		return c.fail(fmt.Sprintf("cannot be written: %v", err),
			"the training diverged; a lower rate helps").From(err)
	}
	if err := whole.File(c.File, text); err != nil {
		return c.fail(fault.Reason(err), "choose another file").From(err)
	}
	return nil
}

// load restores the training from the file, if the file exists, and reports whether it did.
func (c *Checkpoint) load(t *training) (resumed bool, err error) {
	if c == nil {
		return false, nil
	}
	file, _, err := whole.OpenRegular(c.File)
	if errors.Is(err, fs.ErrNotExist) {
		return false, nil
	}
	if errors.Is(err, whole.ErrNotRegular) {
		return false, c.fail("is no regular file", "choose another file").From(err)
	}
	if err != nil {
		return false, c.fail(fault.Reason(err), "choose another file").From(err)
	}
	defer file.Close()
	text, err := io.ReadAll(file)
	if err != nil {
		return false, c.fail(fault.Reason(err), "choose another file").From(err)
	}
	return true, c.restore(text, t)
}

// restore restores the training from the text of a checkpoint. After an error the training is not
// to be used.
func (c *Checkpoint) restore(text []byte, t *training) error {
	var s saved
	if err := json.Unmarshal(text, &s); err != nil || s.Adam == nil {
		return c.fail("is no checkpoint of kerf", "choose another file, or remove it").From(err)
	}
	if s.Key != c.Key {
		return c.fail("belongs to another training: the job, a file that it names, or the "+
			"choice differs", "remove it to begin anew")
	}
	if !s.isPossible() {
		return c.fail("holds figures that no training has", "remove it to begin anew")
	}
	if !fill(t.net.Net, s.Weights) || !fill(t.best, s.Kept) || !sameShape(t.net.Net, s.Adam.Mean) ||
		!sameShape(t.net.Net, s.Adam.Square) {
		return c.fail("is no checkpoint of this network", "remove it to begin anew")
	}
	t.adam, t.bestLoss = s.Adam, s.BestLoss
	t.result.Start, t.result.Epochs, t.result.Best = s.Start, s.Epochs, s.Best
	return nil
}

// isPossible reports whether the figures can be those of a training. That they are finite follows
// from JSON.
func (s *saved) isPossible() bool {
	for _, squares := range s.Adam.Square {
		for _, v := range squares {
			if v < 0 {
				return false
			}
		}
	}
	return s.Adam.Updates >= 0 && s.Best >= 0 && s.Best <= len(s.Epochs)
}

// fail returns an error that names the file.
func (c *Checkpoint) fail(msg, hint string) *fault.Error {
	return &fault.Error{File: c.File, Msg: msg, Hint: hint}
}

// sameShape reports whether values has as many values as each tensor of net.
func sameShape(net *model.Network, values [][]float64) bool {
	all := net.Values()
	if len(all) != len(values) {
		return false
	}
	for i := range all {
		if len(all[i]) != len(values[i]) {
			return false
		}
	}
	return true
}

// fill sets the weights of net, if values has their shape, and reports whether it did.
func fill(net *model.Network, values [][]float64) bool {
	if !sameShape(net, values) {
		return false
	}
	for i, to := range net.Values() {
		copy(to, values[i])
	}
	return true
}

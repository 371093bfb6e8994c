package recovery

import (
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"sync"
	"time"

	"kerf/fault"
	"kerf/whole"
)

// Checkpoint is a file that keeps trainings by their [Task.Name]: the result of those that are
// finished, and the state of the others after their last complete epoch. A training that is kept is
// not done again, or goes on from there, and ends with the same network as one that was never
// interrupted. Trainings may use a checkpoint side by side; a nil one keeps nothing.
type Checkpoint struct {
	file, key string

	lock      sync.Mutex // of what follows
	trainings map[string]*saved
	written   time.Time
	took      time.Duration // of writing
}

// content is what the file holds.
type content struct {
	Key       string          `json:"key"`
	Sum       string          `json:"sum"` // SHA-256 of the trainings, as they stand in the file
	Trainings json.RawMessage `json:"trainings"`
}

// saved is a training in the file. Numbers are IEEE 754 binary64, little-endian, since those of a
// training that diverges are not finite.
type saved struct {
	Losses []byte   `json:"losses"` // of the start, of the best, and two for every epoch
	Best   int      `json:"best"`
	Kept   [][]byte `json:"best_weights,omitempty"` // of that epoch
	Ahead  *ahead   `json:"ahead,omitempty"`        // nil: the training is finished
}

// ahead is what a training needs to go on.
type ahead struct {
	Updates int      `json:"updates"`
	Mean    [][]byte `json:"mean"`
	Square  [][]byte `json:"square"`
	Weights [][]byte `json:"weights"`
}

// OpenCheckpoint reads a checkpoint, or makes the file where there is none. The key stands for
// everything that the trainings depend on beside their names; a file with another key is refused, a
// damaged one, and one of something else.
func OpenCheckpoint(file, key string) (*Checkpoint, error) {
	c := &Checkpoint{file: file, key: key, trainings: map[string]*saved{}}
	f, _, err := whole.OpenRegular(file)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return c, c.write()
	case errors.Is(err, whole.ErrNotRegular):
		return nil, c.fail("is no regular file", "choose another file").From(err)
	case err != nil:
		return nil, c.fail(fault.Reason(err), "choose another file").From(err)
	}
	defer f.Close()
	text, err := io.ReadAll(f)
	if err != nil {
		return nil, c.fail(fault.Reason(err), "choose another file").From(err)
	}
	if err := c.read(text); err != nil {
		return nil, err
	}
	return c, c.write() // what cannot be written is told before the work
}

// read takes the trainings from the text of a file.
func (c *Checkpoint) read(text []byte) error {
	const remove = "choose another file, or remove this one to begin anew"
	var all content
	if err := json.Unmarshal(text, &all); err != nil || all.Key == "" {
		return c.fail("is no whole checkpoint of kerf", remove).From(err)
	}
	if all.Key != c.key {
		return c.fail("belongs to another job: the job, a file that it names, the epochs or "+
			"kerf itself differs", remove)
	}
	if all.Sum != sumOf(all.Trainings) {
		return c.fail("is damaged: its sum is not that of its content", remove)
	}
	if err := json.Unmarshal(all.Trainings, &c.trainings); err != nil || c.trainings == nil {
		return c.fail("is no whole checkpoint of kerf", remove).From(err)
	}
	return nil
}

// sumOf returns the SHA-256 of a text.
func sumOf(text []byte) string {
	sum := sha256.Sum256(text)
	return hex.EncodeToString(sum[:])
}

// writeShare is how many times as long as writing took passes before unfinished trainings are
// written again (our choice): a search has hundreds of trainings in the file.
const writeShare = 10

// keep takes a training after an epoch. Where that was the last one the file is written at once.
func (c *Checkpoint) keep(t *training) error {
	if c == nil {
		return nil
	}
	c.lock.Lock()
	defer c.lock.Unlock()
	s := t.save()
	c.trainings[t.task.Name] = s
	if s.Ahead != nil && time.Since(c.written) < writeShare*c.took {
		return nil
	}
	return c.write()
}

// flush writes the file with what it has not yet of the last epochs.
func (c *Checkpoint) flush() error {
	if c == nil {
		return nil
	}
	c.lock.Lock()
	defer c.lock.Unlock()
	return c.write()
}

// write writes the file; at no time does the file hold half a checkpoint.
func (c *Checkpoint) write() error {
	began := time.Now()
	trainings, err := json.Marshal(c.trainings)
	if err == nil {
		var text []byte
		if text, err = json.Marshal(content{c.key, sumOf(trainings), trainings}); err == nil {
			err = whole.File(c.file, text)
		}
	}
	if err != nil {
		return c.fail(fault.Reason(err), "choose another file").From(err)
	}
	c.written = time.Now()
	c.took = c.written.Sub(began)
	return nil
}

// fail returns an error that names the file.
func (c *Checkpoint) fail(msg, hint string) *fault.Error {
	return &fault.Error{File: c.file, Msg: msg, Hint: hint}
}

// restore brings a training to where the checkpoint has it, and reports whether it has it. After an
// error the training is not to be used.
func (c *Checkpoint) restore(t *training) (isKept bool, err error) {
	if c == nil {
		return false, nil
	}
	c.lock.Lock()
	defer c.lock.Unlock()
	s := c.trainings[t.task.Name]
	if s == nil {
		return false, nil
	}
	if !t.restore(s) {
		return false, c.fail(fmt.Sprintf("holds no training of this network as %q", t.task.Name),
			"choose another file, or remove this one to begin anew")
	}
	return true, nil
}

// save returns the state of a training after an epoch.
func (t *training) save() *saved {
	losses := []float64{t.result.Start, t.bestLoss}
	for _, e := range t.result.Epochs {
		losses = append(losses, e.Training, e.HeldBack)
	}
	s := &saved{Losses: bitsOf(losses)[0], Best: t.result.Best}
	if s.Best > 0 { // else the start is the best
		s.Kept = bitsOf(t.best.Values()...)
	}
	if t.goesOn() {
		s.Ahead = &ahead{t.adam.Updates, bitsOf(t.adam.Mean...), bitsOf(t.adam.Square...),
			bitsOf(t.net.Net.Values()...)}
	}
	return s
}

// restore sets the state of a training, and reports whether that can be its state.
func (t *training) restore(s *saved) bool {
	losses := make([]float64, len(s.Losses)/8)
	if len(losses) < 2 || len(losses)%2 != 0 || !fill([][]float64{losses}, [][]byte{s.Losses}) ||
		s.Best < 0 || s.Best > len(losses)/2-1 {
		return false
	}
	if s.Best > 0 && (!fill(t.best.Values(), s.Kept) || t.best.Validate() != nil) {
		return false
	}
	t.result.Start, t.bestLoss, t.result.Best = losses[0], losses[1], s.Best
	for i := 2; i < len(losses); i += 2 {
		t.result.Epochs = append(t.result.Epochs, Epoch{losses[i], losses[i+1]})
	}
	if s.Ahead == nil {
		return !t.goesOn()
	}
	t.adam.Updates = s.Ahead.Updates
	return s.Ahead.Updates >= 0 && fill(t.adam.Mean, s.Ahead.Mean) &&
		fill(t.adam.Square, s.Ahead.Square) && fill(t.net.Net.Values(), s.Ahead.Weights)
}

// bitsOf returns the bytes of lists of numbers.
func bitsOf(lists ...[]float64) [][]byte {
	all := make([][]byte, len(lists))
	for i, values := range lists {
		all[i], _ = binary.Append(nil, binary.LittleEndian, values) // no size is unknown
	}
	return all
}

// fill sets lists of numbers to those whose bytes are given, and reports whether there are as many.
func fill(lists [][]float64, bits [][]byte) bool {
	if len(lists) != len(bits) {
		return false
	}
	for i, values := range lists {
		if len(bits[i]) != 8*len(values) {
			return false
		}
		binary.Decode(bits[i], binary.LittleEndian, values) // of the right length
	}
	return true
}

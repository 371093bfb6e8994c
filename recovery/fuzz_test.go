package recovery

import (
	"encoding/json"
	"errors"
	"os"
	"path/filepath"
	"testing"

	"kerf/fault"
	"kerf/model"
	"kerf/testdata/hardinput"
)

// checkpointLimits is the memory that a text may take: in JSON of numbers a digit and a comma can
// be a value of eight bytes in a list that grows, several times over.
var checkpointLimits = hardinput.Limits{PerByte: 200, Spare: 1 << 20}

// FuzzCheckpoint reads hostile texts, and restores a training from them, with the right sum or as
// the text is. A training that is restored has the shape of the network and figures that a training
// can have.
func FuzzCheckpoint(f *testing.F) {
	task := newTask(randomTeacher(6, model.ElmanTanh), nil, 0.1)
	c := opened(f, filepath.Join(f.TempDir(), "training.json"), "a")
	cancelledAfter(f, 1, task, brief(2), c)
	text, err := os.ReadFile(c.file)
	if err != nil {
		f.Fatal(err)
	}
	f.Add(text)
	f.Add([]byte(`{"":{"ahead":{"updates":-1}}}`))
	f.Add([]byte(`[[[[{"key":`))
	f.Fuzz(func(t *testing.T, text []byte) {
		summed, err := json.Marshal(content{"a", sumOf(text), text})
		if err != nil { // the text is no JSON
			summed = text
		}
		for _, text := range [][]byte{text, summed} {
			fresh, err := begin(task, brief(2), nil)
			if err != nil {
				t.Fatal(err)
			}
			checkpointLimits.Check(t, len(text), c.file, func() error {
				read := &Checkpoint{file: c.file, key: "a"}
				if err = read.read(text); err == nil {
					_, err = read.restore(fresh)
				}
				return err
			})
			var refused *fault.Error
			if err != nil && (!errors.As(err, &refused) || refused.Hint == "") {
				t.Fatalf("error %#v", err)
			}
			if err != nil {
				continue // the training is not to be used
			}
			if err := fresh.best.Validate(); err != nil && fresh.result.Best > 0 {
				t.Fatal(err)
			}
			if best := fresh.result.Best; best < 0 || best > len(fresh.result.Epochs) ||
				fresh.adam.Updates < 0 {
				t.Fatalf("best epoch %d of %d after %d updates", best, len(fresh.result.Epochs),
					fresh.adam.Updates)
			}
		}
	})
}

func TestCheckpointIsARegularFile(t *testing.T) {
	_, err := OpenCheckpoint(os.DevNull, "a")
	var refused *fault.Error
	if !errors.As(err, &refused) || refused.Msg != "is no regular file" {
		t.Errorf("got %v", err)
	}
}

package recovery

import (
	"context"
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

// FuzzCheckpoint restores hostile texts. A training that is restored has the shape of the network
// and figures that a training can have.
func FuzzCheckpoint(f *testing.F) {
	task := newTask(randomTeacher(6, model.ElmanTanh), nil, 0.1)
	c := &Checkpoint{File: filepath.Join(f.TempDir(), "training.json"), Key: "a"}
	if _, err := Train(context.Background(), task, brief(1), c, silent); err != nil {
		f.Fatal(err)
	}
	whole, err := os.ReadFile(c.File)
	if err != nil {
		f.Fatal(err)
	}
	f.Add(whole)
	f.Add([]byte(`{"key":"a","adam":{"Updates":-1}}`))
	f.Add([]byte(`[[[[{"key":`))
	c.File = "training.json"
	f.Fuzz(func(t *testing.T, text []byte) {
		fresh, err := begin(task, brief(1), nil)
		if err != nil {
			t.Fatal(err)
		}
		checkpointLimits.Check(t, len(text), c.File, func() error {
			err := c.restore(text, fresh)
			var refused *fault.Error
			if err != nil && (!errors.As(err, &refused) || refused.Hint == "") {
				t.Fatalf("error %#v", err)
			}
			return err
		})
		if err := fresh.net.Net.Validate(); err != nil {
			t.Fatal(err)
		}
		if best := fresh.result.Best; best < 0 || best > len(fresh.result.Epochs) ||
			fresh.adam.Updates < 0 {
			t.Fatalf("best epoch %d of %d after %d updates", best, len(fresh.result.Epochs),
				fresh.adam.Updates)
		}
	})
}

func TestCheckpointIsARegularFile(t *testing.T) {
	task := newTask(randomTeacher(6, model.ElmanTanh), nil, 0.1)
	_, err := Train(context.Background(), task, brief(1), &Checkpoint{os.DevNull, "a"}, silent)
	var refused *fault.Error
	if !errors.As(err, &refused) || refused.Msg != "is no regular file" {
		t.Errorf("got %v", err)
	}
}

package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strconv"
	"testing"
	"time"
)

// interruptedEpochs are enough for a signal to arrive before the last one; the whole training takes
// some seconds of processor time.
const interruptedEpochs = 20

// Ctrl-C while kerf recover trains: it leaves a whole checkpoint and nothing else, and the next run
// goes on from there to the same bytes as a run that nobody stopped.
func TestCtrlCLeavesTheCheckpointOfATraining(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("NOT CHECKED: os.Process.Signal cannot send an interrupt there")
	}
	dir := t.TempDir()
	checkpoint := filepath.Join(dir, "training.json")
	training := func(out string, further ...string) []string {
		return append([]string{"recover", filepath.Join("..", "..", "testdata", "cityweather",
			"job.toml"), "--keep-units", "0,1,2,3,4,5", "--keep-features", "all",
			"--epochs", strconv.Itoa(interruptedEpochs), "--format", "json", "--out",
			filepath.Join(dir, out)}, further...)
	}

	var stdout bytes.Buffer
	cmd := command(t, training("part.safetensors", "--checkpoint", checkpoint)...)
	cmd.Stdout = &stdout
	ended := started(t, cmd)
	waitForEpochs(t, checkpoint, 2, ended)
	if err := cmd.Process.Signal(os.Interrupt); err != nil {
		t.Fatal(err)
	}
	<-ended
	if cmd.ProcessState.Success() || stdout.Len() > 0 {
		t.Fatalf("%v, stdout %q", cmd.ProcessState, stdout.String())
	}
	done, isWhole := epochsIn(checkpoint)
	if !isWhole || done < 2 || done >= interruptedEpochs {
		t.Fatalf("the checkpoint holds %d epochs, whole: %t", done, isWhole)
	}
	if names := slices.Sorted(maps.Keys(readAll(t, dir))); !slices.Equal(names,
		[]string{"training.json"}) {
		t.Errorf("left behind: %v", names)
	}

	run := func(args []string) (result recoverResult, text string) {
		code, stdout, stderr := call(args...)
		if err := json.Unmarshal([]byte(stdout), &result); err != nil || code != exitDone {
			t.Fatalf("exit code %d, %v: %s", code, err, stderr)
		}
		return result, stdout
	}
	rest, inTwo := run(training("rest.safetensors", "--checkpoint", checkpoint))
	if len(rest.Epochs) <= done {
		t.Errorf("went on from %d epochs to %d", done, len(rest.Epochs))
	}
	if _, inOne := run(training("whole.safetensors")); inTwo != inOne {
		t.Errorf("in two runs: %s\nin one: %s", inTwo, inOne)
	}
	files := readAll(t, dir)
	if !bytes.Equal(files["rest.safetensors"], files["whole.safetensors"]) {
		t.Error("two runs end with another network than one")
	}
}

// epochsIn counts the epochs that a checkpoint holds. It is not whole when it is no JSON text.
func epochsIn(checkpoint string) (n int, whole bool) {
	text, err := os.ReadFile(checkpoint)
	if errors.Is(err, fs.ErrNotExist) {
		return 0, true
	}
	var s struct{ Epochs []epochRow }
	err = json.Unmarshal(text, &s)
	return len(s.Epochs), err == nil
}

// waitForEpochs waits until a checkpoint holds some epochs, and looks at every moment whether it is
// whole.
func waitForEpochs(t *testing.T, checkpoint string, epochs int, ended chan struct{}) {
	t.Helper()
	for {
		n, whole := epochsIn(checkpoint)
		switch {
		case !whole:
			t.Fatal("a checkpoint is seen in part")
		case n >= epochs:
			return
		}
		select {
		case <-ended:
			t.Fatal("the training ended before the signal")
		case <-time.After(time.Millisecond):
		}
	}
}

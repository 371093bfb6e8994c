package main

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"

	"github.com/spf13/pflag"

	"kerf/budget"
	"kerf/fault"
	"kerf/recovery"
)

// checkpointFlag adds the option to keep trainings.
func checkpointFlag(flags *pflag.FlagSet, path *string) {
	flags.StringVar(path, "checkpoint", "", "file to keep the trainings of [recovery] in, and to "+
		"go on from")
}

// openCheckpoint opens the file that keeps the trainings of a job; without a path it returns nil.
// Its key stands for all that the trainings depend on: every file of the job but the recordings
// that judge, and the settings. Which cut is trained, in which words, is part of their names.
func (a *app) openCheckpoint(in *budget.Inputs, path string) (*recovery.Checkpoint, error) {
	if path == "" {
		return nil, nil
	}
	if in.Job.Recovery == nil {
		return nil, fault.New("--checkpoint: the job asks for no training",
			"[recovery] in the job asks for it")
	}
	hash := sha256.New()
	for _, f := range in.Files {
		if f.Role != budget.SignoffRole {
			fmt.Fprintln(hash, f.Role, f.SHA256)
		}
	}
	fmt.Fprintln(hash, version, in.Job.Recovery.Settings())
	a.checkpoint = path
	return recovery.OpenCheckpoint(path, hex.EncodeToString(hash.Sum(nil)))
}

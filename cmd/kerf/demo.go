package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"sort"

	"github.com/spf13/cobra"

	"kerf/fault"
	"kerf/testdata/demo"
	"kerf/whole"
)

func (a *app) demoCommand() *cobra.Command {
	var out string
	var all bool
	cmd := a.verb(&cobra.Command{
		Use:   "demo",
		Short: "Write the demo job into a folder and plan it",
		Long: `demo writes a complete job (an invented hydraulic power unit in a log splitter:
19 features, 24 units, leakage and entrained air) into a folder, runs kerf plan on
it and writes the handoff into the folder handoff inside.`,
		Example: `  kerf demo
  kerf demo --out splitter`,
		Args: noArguments,
	}, func(ctx context.Context, _ []string) (result, error) {
		if out == standardStream {
			return nil, folderNotStream()
		}
		if err := writeDemo(out); err != nil {
			return nil, err
		}
		return a.plan(ctx, filepath.Join(out, "job.toml"), choice{},
			handoffOptions{out: filepath.Join(out, "handoff"), all: all})
	})
	cmd.Flags().StringVar(&out, "out", "kerf-demo", "folder for the job")
	allFlag(cmd, &all)
	return cmd
}

// writeDemo writes the files of the demo job. A file that is there already must be the same: one
// that was edited is not overwritten.
func writeDemo(dir string) error {
	files, err := demo.Files()
	if err != nil {
		return err
	}
	names := make([]string, 0, len(files))
	for name := range files {
		names = append(names, name)
	}
	sort.Strings(names)
	for _, name := range names {
		path := filepath.Join(dir, name)
		if _, err := os.Stat(path); err != nil {
			continue
		}
		// an error of a file that is longer, which differs as well
		present, _ := whole.ReadRegular(path, int64(len(files[name])))
		if !bytes.Equal(present, files[name]) {
			return &fault.Error{File: dir, Msg: fmt.Sprintf("%s is there already and "+
				"differs from the demo's", name), Hint: "choose another folder with --out, or " +
				"run kerf plan on the edited job"}
		}
	}
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return fault.New(dir+": "+err.Error(), "choose another folder with --out").From(err)
	}
	for _, name := range names {
		if err := whole.NewFile(filepath.Join(dir, name), files[name]); err != nil &&
			!errors.Is(err, fs.ErrExist) {
			return fault.New(dir+": "+err.Error(), "choose another folder with --out").From(err)
		}
	}
	return nil
}

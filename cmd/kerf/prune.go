package main

import (
	"bytes"
	"errors"
	"io/fs"
	"os"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"kerf/budget"
	"kerf/exporter"
	"kerf/model"
)

func (a *app) pruneCommand() *cobra.Command {
	var c choice
	var out, format string
	cmd := &cobra.Command{
		Use:   "prune JOB.toml",
		Short: "Cut features and units, and show the path",
		Long: `prune tries every feature and hidden unit once, the least needed first, and takes
it out where the loss on the selection recordings stays within every tolerance in
every scenario and region. Each row of the path is one attempt. With --features or
--units the cut is the one given. --out writes the cut float network.`,
		Example: `  kerf prune job.toml
  kerf prune job.toml --units 0,1,2,3,4,5,6,7 --out cut.safetensors`,
		Args: oneJob,
		RunE: func(_ *cobra.Command, args []string) error {
			in, err := load(args[0])
			if err != nil {
				return err
			}
			cut, chosen, err := a.choose(in, c)
			if err != nil {
				return err
			}
			if out != "" {
				if err := writeNetwork(out, in, chosen); err != nil {
					return err
				}
			}
			s := exporter.NewSignoff(in.Price(cut, chosen), version)
			return a.printTables(format, pathTables(s)...)
		},
	}
	c.cutFlags(cmd.Flags())
	formatFlag(cmd, &format)
	cmd.Flags().StringVar(&out, "out", "", "write the cut float network (.safetensors)")
	return cmd
}

// writeNetwork writes the cut float network with torch names; its metadata say
// which features and units it keeps.
func writeNetwork(path string, in *budget.Inputs, chosen *budget.Chosen) error {
	if !strings.HasSuffix(path, ".safetensors") {
		return &usageError{"--out: " + path + " does not end in .safetensors", "the cut network is written in that format"}
	}
	var b bytes.Buffer
	metadata := map[string]string{
		"made_by":  "kerf " + version,
		"features": strings.Join(in.KeptFeatures(chosen.Candidate), ","),
		"units":    joinUnits(chosen.Candidate.Units),
	}
	if err := model.WriteSafetensors(&b, model.ToTorch(chosen.CutNet.Net), metadata); err != nil {
		return err
	}
	file, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	if errors.Is(err, fs.ErrExist) {
		return &usageError{"--out: " + path + " is there already", "choose another file: a network is never overwritten"}
	}
	if err != nil {
		return &usageError{"--out: " + err.Error(), "choose another file"}
	}
	if _, err = file.Write(b.Bytes()); err == nil {
		err = file.Close()
	}
	if err != nil {
		os.Remove(path) // half a file is worse than none
		return &usageError{"--out: " + err.Error(), "choose another file"}
	}
	return nil
}

// joinUnits prints the units of every layer: numbers with commas, layers with semicolons.
func joinUnits(units [][]int) string {
	layers := make([]string, len(units))
	for l, indices := range units {
		parts := make([]string, len(indices))
		for i, j := range indices {
			parts[i] = strconv.Itoa(j)
		}
		layers[l] = strings.Join(parts, ", ")
	}
	return strings.Join(layers, "; ")
}

package main

import (
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"kerf/targets"
)

// complete returns what a shell offers for an argument or an option of which typed is there
// already: words, or the endings of files.
type complete = func(cmd *cobra.Command, args []string, typed string) ([]string,
	cobra.ShellCompDirective)

// addCompletions gives every argument and option its completion. That of --format is given by
// formatFlag.
func addCompletions(root *cobra.Command) {
	jobs, handoffs := filesEnding("toml"), folders
	arguments := map[string]complete{
		"plan": jobs, "rank": jobs, "observe": jobs, "features": jobs, "prune": jobs, "units": jobs,
		"recover": jobs, "quantize": jobs, "cost": jobs, "export": jobs,
		"measure": filesEnding("toml"), "show": handoffs, "compare": handoffs, "verify": handoffs,
		"explain": completeRow,
		"init":    filesEnding("onnx", "safetensors", "npz", "csv", "gz", "parquet"),
	}
	profiles := func(*cobra.Command, []string, string) ([]string, cobra.ShellCompDirective) {
		return targets.Names(), cobra.ShellCompDirectiveNoFileComp
	}
	options := map[string]complete{
		"weights": cobra.FixedCompletions([]string{"int4", "int8", "int16"},
			cobra.ShellCompDirectiveNoFileComp),
		"state": cobra.FixedCompletions([]string{"int16", "int32"},
			cobra.ShellCompDirectiveNoFileComp),
		"target":  profiles,
		"since":   folders,
		"against": jobs,
		"signoff": filesEnding("csv", "gz", "npz", "parquet"),
	}
	var walk func(cmd *cobra.Command)
	walk = func(cmd *cobra.Command) {
		if c := arguments[cmd.Name()]; c != nil && cmd.Parent() == root {
			cmd.ValidArgsFunction = c
		}
		if cmd.HasParent() && cmd.Parent().Name() == "targets" {
			switch cmd.Name() {
			case "show":
				cmd.ValidArgsFunction = profiles
			case "fit":
				cmd.ValidArgsFunction = func(cmd *cobra.Command, args []string,
					typed string) ([]string, cobra.ShellCompDirective) {
					if len(args) == 0 {
						return profiles(cmd, args, typed)
					}
					return filesEnding("csv")(cmd, args, typed)
				}
			}
		}
		for name, c := range options {
			if cmd.Flags().Lookup(name) != nil {
				if err := cmd.RegisterFlagCompletionFunc(name, c); err != nil {
					panic(err) // a second registration of one flag
				}
			}
		}
		for _, sub := range cmd.Commands() {
			walk(sub)
		}
	}
	walk(root)
}

// filesEnding offers the files whose names have one of the endings.
func filesEnding(endings ...string) complete {
	return func(*cobra.Command, []string, string) ([]string, cobra.ShellCompDirective) {
		return endings, cobra.ShellCompDirectiveFilterFileExt
	}
}

// folders offers folders.
func folders(*cobra.Command, []string, string) ([]string, cobra.ShellCompDirective) {
	return nil, cobra.ShellCompDirectiveFilterDirs
}

// completeRow offers folders for the first argument, and the rows of its sign-off for the second.
func completeRow(cmd *cobra.Command, args []string,
	typed string) ([]string, cobra.ShellCompDirective) {
	if len(args) != 1 || args[0] == standardStream {
		return folders(cmd, args, typed)
	}
	s, err := readSignoff(args[0], nil)
	if err != nil {
		return nil, cobra.ShellCompDirectiveNoFileComp
	}
	var names []string
	for _, r := range listRows(s).Rows {
		if strings.HasPrefix(r.Row, typed) && !slices.Contains(names, r.Row) {
			names = append(names, r.Row)
		}
	}
	return names, cobra.ShellCompDirectiveNoFileComp
}

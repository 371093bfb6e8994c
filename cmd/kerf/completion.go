package main

import (
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"kerf/targets"
)

// complete is what a shell offers for an argument or an option: words, or files with an ending.
type complete = func(cmd *cobra.Command, args []string, part string) ([]string,
	cobra.ShellCompDirective)

// addCompletions says for every argument and option what it may be. --format is completed where it
// is declared.
func addCompletions(root *cobra.Command) {
	jobs, handoffs := filesEnding("toml"), folders
	arguments := map[string]complete{
		"plan": jobs, "rank": jobs, "observe": jobs, "prune": jobs, "units": jobs, "recover": jobs,
		"quantize": jobs, "cost": jobs, "export": jobs,
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
					part string) ([]string, cobra.ShellCompDirective) {
					if len(args) == 0 {
						return profiles(cmd, args, part)
					}
					return filesEnding("csv")(cmd, args, part)
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

// filesEnding offers files by the end of their name.
func filesEnding(endings ...string) complete {
	return func(*cobra.Command, []string, string) ([]string, cobra.ShellCompDirective) {
		return endings, cobra.ShellCompDirectiveFilterFileExt
	}
}

func folders(*cobra.Command, []string, string) ([]string, cobra.ShellCompDirective) {
	return nil, cobra.ShellCompDirectiveFilterDirs
}

// completeRow offers a folder, and then the rows of the sign-off in it.
func completeRow(cmd *cobra.Command, args []string,
	part string) ([]string, cobra.ShellCompDirective) {
	if len(args) != 1 || args[0] == standardStream {
		return folders(cmd, args, part)
	}
	s, err := readSignoff(args[0], nil)
	if err != nil {
		return nil, cobra.ShellCompDirectiveNoFileComp
	}
	var names []string
	for _, r := range listRows(s).Rows {
		if strings.HasPrefix(r.Row, part) && !slices.Contains(names, r.Row) {
			names = append(names, r.Row)
		}
	}
	return names, cobra.ShellCompDirectiveNoFileComp
}

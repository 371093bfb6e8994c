package main

import (
	"cmp"
	"context"
	"runtime"
	"runtime/debug"

	"github.com/spf13/cobra"

	"kerf/exporter/report"
)

func (a *app) versionCommand() *cobra.Command {
	return a.verb(&cobra.Command{
		Use:     "version",
		Short:   "Print the version, the commit and the platform of this program",
		Example: `  kerf version`,
		Args:    noArguments,
	}, func(context.Context, []string) (result, error) {
		info, _ := debug.ReadBuildInfo() // nil: built without modules
		return newVersionResult(info), nil
	})
}

// versionResult is what kerf version shows.
type versionResult struct {
	Version  string `json:"version"`
	Commit   string `json:"commit"`   // unknown in a build from files without version control
	Changed  bool   `json:"changed"`  // the files were not those of the commit
	Go       string `json:"go"`       // version of the compiler
	Platform string `json:"platform"` // operating system and processor
}

func newVersionResult(info *debug.BuildInfo) *versionResult {
	r := &versionResult{Version: version, Go: runtime.Version(),
		Platform: runtime.GOOS + "/" + runtime.GOARCH}
	if info != nil {
		for _, s := range info.Settings {
			switch s.Key {
			case "vcs.revision":
				r.Commit = s.Value
			case "vcs.modified":
				r.Changed = s.Value == "true"
			}
		}
	}
	r.Commit = cmp.Or(r.Commit, "unknown")
	return r
}

func (r *versionResult) tables() []report.Table {
	commit := r.Commit
	if r.Changed {
		commit += ", with changes"
	}
	return []report.Table{{Title: "kerf " + r.Version, Head: []string{"", "kerf"}, Numbers: 2,
		Rows: [][]string{
			{"version", r.Version}, {"commit", commit}, {"go", r.Go}, {"platform", r.Platform},
		}}}
}

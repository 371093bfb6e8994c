package main

import (
	"encoding/json"
	"io"
	"os"
	"path/filepath"

	"kerf/exporter"
	"kerf/exporter/emit"
	"kerf/exporter/report"
	"kerf/fault"
	"kerf/whole"
)

// standardStream stands for stdin or stdout where the command line names a file (POSIX.1-2017, Base
// Definitions 12.2, guideline 13).
const standardStream = "-"

const handoffHint = "give a handoff folder, as kerf plan writes it, its signoff.json, or - for " +
	"a signoff.json on stdin"

// readSignoff reads the sign-off of a handoff: of a folder, of a signoff.json, or from stdin.
func readSignoff(path string, stdin io.Reader) (*report.Signoff, error) {
	text, file, err := []byte(nil), path, error(nil)
	if path == standardStream {
		file = "stdin"
		text, err = whole.Read(stdin, report.MaxJSONBytes)
	} else {
		if info, statError := os.Stat(path); statError == nil && info.IsDir() {
			file = filepath.Join(path, exporter.SignoffFile)
		}
		text, err = whole.ReadRegular(file, report.MaxJSONBytes)
	}
	if err != nil {
		return nil, unreadable(file, err, handoffHint)
	}
	s := &report.Signoff{}
	if err := json.Unmarshal(text, s); err != nil || s.Schema != report.Schema ||
		emit.CheckPrefix(s.Name) != nil {
		return nil, &fault.Error{File: file, Msg: "this is no sign-off of kerf",
			Hint: "make the handoff anew with kerf plan"}
	}
	if err := s.CheckVerdicts(); err != nil {
		return nil, &fault.Error{File: file, Msg: "was changed: " + err.Error(),
			Hint: "make the handoff anew with kerf plan", Cause: err}
	}
	s.RenewReason()
	return s, nil
}

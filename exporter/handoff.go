package exporter

import (
	"maps"

	"kerf/budget"
	"kerf/exporter/emit"
	"kerf/exporter/report"
	"kerf/quant"
)

// Files makes the whole handoff of a judged candidate: file name to content, the manifest included.
// version is that of this kerf. An error says that a name cannot be used in the C, or that a figure
// of the sign-off has no JSON.
func Files(r *budget.Result, version string) (map[string][]byte, error) {
	s := report.NewSignoff(r, version)
	s.Pictures = report.NewPictures(r)
	net := r.Chosen.Fixed
	program := newProgram(s, net, r.Inputs.Period(), emit.Vectors(net, r.Inputs.Selection))
	program.Ranges = emit.Ranges(net.Columns, r.Inputs.Selection)
	if front, index := r.Inputs.FrontEndOf(r.Chosen.Candidate); front != nil {
		program.Front = emit.NewFrontEnd(front, index, net)
		program.FrontVectors = emit.NewFrontVectors(program.Front, net,
			r.Inputs.Selection.Sequences, r.Inputs.Raw.Selection, r.Inputs.Raw.ChannelNames())
	}
	files, err := programFiles(program, s.Build)
	if err != nil {
		return nil, err
	}
	reports, err := Reports(s)
	if err != nil {
		return nil, err
	}
	maps.Copy(files, reports)
	files[ManifestFile], err = newManifest(s, r.ByHand, ownTables(r), files)
	return files, err
}

// newProgram returns what the C is emitted from: a network, the time between two steps in s (0: not
// known) and the steps of the self-test. The rest stands in the sign-off, so that the C can be made
// again from the files of a handoff.
func newProgram(s *report.Signoff, net *quant.Network, period float64,
	steps []emit.VectorStep) *emit.Program {
	return &emit.Program{
		Name: s.Name, Version: s.Kerf, ModelVersion: s.ModelVersion,
		JobHash: s.Inputs[0].SHA256, VerdictLine: s.HeadLine(),
		Fits: s.Verdict == budget.Fits, SettleSteps: s.SettleSteps(),
		Net: net, Period: period, Description: s.Network.Kept, KeptUnits: s.Kept.Units,
		Vectors: steps,
	}
}

// programFiles makes the C, the build files and the network file: file name to content.
func programFiles(p *emit.Program, build []emit.BuildTarget) (map[string][]byte, error) {
	files, err := p.CFiles()
	if err != nil {
		return nil, err
	}
	maps.Copy(files, p.BuildFiles(build))
	files[p.Name+emit.NetworkSuffix], err = p.NetworkJSON()
	return files, err
}

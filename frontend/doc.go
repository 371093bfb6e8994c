// Package frontend computes features from raw samples, as firmware and as a notebook do: a channel
// is sampled in windows of N samples, one window a step, and a feature is a figure of the window,
// such as its mean or the amplitude of a harmonic.
//
// # What to read first
//
//   - definition.go: the kinds of features and how a definition is written
//   - channel.go: Channel, Baseline and Converter: what is sampled, and how
//   - analysis.go: Analyser, which gets from a window what its features follow from
//   - compute.go: FrontEnd, which computes features of sequences in double precision
//   - compare.go: how far these are from what was recorded; recognise.go: which definition the
//     recordings have
//
// # Invariants
//
//   - Samples, levels and amplitudes are in the unit of the channel, angles in rad, time in
//     seconds.
//   - c cycles of the fundamental stand in a window, a whole number, and c times the highest
//     harmonic is less than half of the samples.
//   - The first sample of a window has the phase 0 of all its lines.
//   - The same samples give the same values on every processor.
package frontend

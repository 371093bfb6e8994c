// Package dataset holds recordings and what is measured on them.
//
// A recording is a file of time steps: CSV, packed CSV, NPZ or Parquet. Steps
// that belong together form a sequence: one uninterrupted run at whose start the
// state of a network is reset. Every sequence belongs to one scenario, a named operating profile. A
// region is a named part of the output space, given by conditions on the
// reference values of the outputs.
//
// Any [Predictor] (float, cut or integer network) is scored by the same lines:
// [Measure] runs it over whole sequences and keeps sums of errors per sequence,
// and [Compare] pairs two such scores, step for step, with a 95 % interval from
// resampling whole sequences.
//
// All values here are in physical units. The order of features and outputs is
// the order of the network.
package dataset

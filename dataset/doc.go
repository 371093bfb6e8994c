// Package dataset holds recordings and what is measured on them: it reads recordings, runs any
// predictor over them, and compares two predictors on the same steps with a 95 % interval.
//
// A recording is a file of time steps: CSV, packed CSV, NPZ or Parquet. Steps that belong together
// form a sequence: one uninterrupted run, at whose start the state of a network is reset. Every
// sequence belongs to one scenario, a named operating profile. A region is a named part of the
// output space, given by conditions on the reference values of the outputs.
//
// # What to read first
//
//   - recordings.go: [Sequence] and [Recordings], and how steps become sequences; readfile.go opens
//     the formats, declarations.go reads features.csv and outputs.csv
//   - predictor.go: [Predictor], and [Float], which runs a float network
//   - measure.go: [Measure] runs a predictor and keeps sums of errors in a [Score]
//   - compare.go: [Compare] compares two scores; interval.go and blocks.go have the intervals
//   - sums.go: [CompareSums] does so from sums alone, where there is no network to run
//   - prepare.go: [Prepared] scores the many candidates of a search
//
// # How two predictors are compared
//
// Float, cut and integer networks run on the same steps. The rise of the error is a ratio of sums
// over sequences, and its interval says how far the ratio would move with other sequences. The
// interval is the jackknife's over sequences, with Student's t. From six sequences on, each end is
// the outer one of the jackknife and the bias-corrected and accelerated bootstrap. Student's t and
// the percentiles of the bootstrap take the number of sequences that weigh, which is small where a
// few sequences make most of the error. Few long sequences are judged by blocks of steps too, for
// which scores keep errors in pieces of sequences (pieces.go). docs/intervals.md says what was
// simulated to check the intervals; testdata/coverage has the simulation.
//
// The first [Sequence.Settle] steps of a sequence count nowhere: no error of theirs is summed here,
// and no distance of rounding is measured on them in the packages behind this one.
//
// # Float32 for searches
//
// A search scores hundreds of candidates. [Prepare] lays out recordings for them once, eight
// sequences of like length side by side, and [Prepared.ScoreAll] runs candidates in float32
// (package lanes). Float32 serves to choose. Losses, bounds and all else in a sign-off come from
// [Measure], with a network in double precision or the integers themselves, but for three
// exceptions: the scores of features and units, whose sampling error is far above the 1e-5 standard
// deviations of an output that float32 may be off; the refit of a cut network, whose result is
// measured; and figures about candidates of the search that were not chosen.
//
// # Invariants
//
//   - All values are in physical units, except inside [Prepared].
//   - Features and outputs have the order of the network.
//   - The same recordings give the same figures on every processor and any number of cores: sums
//     have a fixed order, and random draws are seeded.
//   - Files come from outside and are not trusted. Wrong content gives an error of kind [ErrInput]
//     with place and hint, and a packed file may unpack to [model.MaxUnpacked] bytes at most.
package dataset

// Package prune says what each feature and hidden unit of a network contributes, and takes out
// those that may go.
//
// # Order of work
//
// Scores come from a file ([ReadScoreFile]), from Shapley values ([FeatureValues], [GroupValues],
// [UnitValues]), from holding one unit at its mean ([UnitEffects]) or from gradients
// ([Saliencies]). [Scores.Ranking] puts
// features or units in order by their worst case over scenarios and outputs. [Scores.Groups] adds
// scores up by channel or kind, [Scores.Agree] compares the rankings of scenarios. [Observe] says
// what each unit does, and [Observed.Advice] says in sentences what that speaks for.
//
// [MeasureStatistics] runs the network over the selection recordings once; [Statistics.Cut] then
// removes any features and units and replaces them, in one of the ways of [Method], by what stays.
//
// Scores decide what is tried. What a cut costs is measured by package budget, which also compares
// it with tolerances; nothing here does.
//
// # What to read first
//
//   - cut.go: the smaller network, with removed values held at their means
//   - replace.go, ridge.go and compensate.go: removed values predicted from values that stay
//   - scores.go and rollup.go: scores, rankings, groups, agreement of scenarios
//   - attributions.go: score files of every form
//   - game.go, background.go, shapley.go and jackknife.go: Shapley values and their standard errors
//   - effect.go: the effect of holding a unit at its mean
//   - saliency.go: the same to first order, for all features and units at once
//   - unexplained.go: what the other features or units do not predict
//   - observe.go and advice.go: what units do, and what that speaks for
//
// # Invariants
//
//   - Everything here sees selection recordings only.
//   - Results do not depend on the number of cores. Random draws are seeded per sequence.
//   - Indices of features and units are ascending and those of the network as given.
//   - Scores are 0 or more. Those of one scenario and output have one unit, so that shares can be
//     compared between outputs and scores cannot.
//
// docs/scores.md defines scores, docs/search.md says what the search makes of them.
package prune

// Package prune decides what may go and takes it out.
//
// [ReadScoreFile], [FeatureValues] and [UnitEffects] say how much each feature or
// hidden unit contributes, [Scores.Ranking] puts them in order by their worst case
// over scenarios and outputs, [Scores.Groups] and [Scores.Agree] roll them up, and
// [Observe] says what each unit does. [Statistics.Cut] removes features and units
// from the matrices and replaces them by their best linear prediction from what
// stays. The package measures nothing against a tolerance: that is the work of
// package budget.
//
// Everything here sees selection recordings only.
package prune

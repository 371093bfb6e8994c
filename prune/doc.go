// Package prune decides what may go and takes it out.
//
// [ReadScores] and [RemovalEffects] say how much each feature or hidden unit
// contributes, [Ranking] puts them in order by their worst case over scenarios
// and outputs, and [Cut] removes features and units from the matrices, with the
// mean of what was removed folded into the biases. The package measures nothing
// against a tolerance: that is the work of package budget.
package prune

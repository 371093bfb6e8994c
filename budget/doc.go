// Package budget makes the plan of a job: it searches for a smaller network that fits the targets,
// brings it to fixed point, judges what it loses and costs, and says why the choice is what it is.
//
// A [Job] names files, limits and tolerances; [Load] reads all of them into [Inputs]. A [Planner]
// makes one plan for them, in this order:
//
//   - [Planner.FindCut] takes away features, units and front ends as far as the tolerances allow;
//   - [Planner.Choose] adds the word widths;
//   - [Planner.Recover] trains what stays, where the job asks for it;
//   - [Planner.Assess] measures the choice on the sign-off recordings and gives every verdict.
//
// [CutByHand] takes the place of the search where features and units are given.
//
// # What to read first
//
// job.go and tolerance.go have the keys of a job, load.go reads them. planner.go has what a plan
// keeps. search.go says how the cut is searched (search_items.go, search_estimates.go and
// search_point.go belong to it), choose.go how words are chosen, with rounding.go for one network
// and widths.go for single words. loss.go and reserve.go say how loss is judged, cost.go and
// objective.go what a candidate costs, examine.go how the network as given is examined. raw.go
// reads samples, raw_integers.go makes of them what integer networks run on, chain.go and
// converters.go say what that costs. search_trained.go has the search with training (recipe.go,
// trainings.go). frontier.go, reason.go, blame.go and force.go explain a choice; assess.go puts the
// [Result] together.
//
// # Invariants
//
//   - Nothing assigns to inputs after Load, so plans can share them; what is found out stands in
//     the planner. [Inputs.WithFormats] and [Inputs.WithRecovery] return other inputs.
//   - Whatever chooses sees only selection recordings; sign-off recordings only judge.
//     ([Planner.Examine] reads them and chooses nothing.)
//   - A [Candidate] says which network it is: the features and units that stay, the words, and the
//     network that was trained, if any. Nothing else decides what it means.
//   - Results ([Cut], [Chosen], [Result]) hold no searcher: they can be kept and compared.
//   - The same inputs give the same result on every machine, unless the job limits the time of the
//     search.
//   - A method that may take long has a context first and returns its error soon after it ends. A
//     training that shall end early and count is stopped by a channel instead.
//   - Every cost has a [Kind]: exact, bounded, estimated or measured. A sum is as good as its
//     weakest part.
//   - Doubtful data are errors with place and hint; a mistake of the caller panics.
package budget

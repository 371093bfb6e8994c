// Package budget puts a price on a candidate and judges it.
//
// A [Job] names the files, limits and tolerances; [Load] reads everything the
// job names into [Inputs]. [Inputs.FindCut] searches for cuts of features and units
// whose loss on selection recordings stays within tolerance, and
// [Inputs.Choose] adds the word widths: both see only selection recordings. [Inputs.Assess]
// then measures the chosen candidate on the sign-off recordings and gives every
// verdict, on accuracy and on cost.
//
// Every cost has a [Kind]: exact, bounded, estimated or measured. A sum is as
// good as its weakest part.
package budget

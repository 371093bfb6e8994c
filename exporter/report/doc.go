// Package report holds the sign-off of a choice as data, and writes it as text: the tables of the
// terminal, Markdown, CSV, JSON, a test report for build servers and a summary for merge requests.
// Package page beside it draws signoff.html from the same data. The package also reads signoff.json
// back, checks that its verdicts follow from its figures, and compares two sign-offs.
//
// # What to read first
//
//   - signoff.go: [Signoff], the content of every rendering, and how it is made of a
//     [budget.Result]. Its rows are types of budget where these need no change, such as
//     [budget.Freed]. A row has a type of its own here where figures may be NaN, which JSON does
//     not know, or where words, margins or the line of the job are added; its comment says so.
//   - accuracy.go, cost.go, widths.go, path.go, frontier.go, examination.go, extremes.go,
//     chain.go: the rows of one subject each, and its tables. tightest.go has the part that rows of
//     attempts share.
//   - reason.go, head.go: the clause that says why the verdict is not better, and the lines above
//     the tables.
//   - words.go, visible.go: how figures and names are printed, and how texts from files are kept
//     from becoming markup, formulas or invisible.
//   - signoff_json.go, verdicts.go: reading back, and the check of every verdict.
//   - sums.go, then compare.go and the files with its name in front: two sign-offs, row by row.
//   - pictures.go, tracks.go, outputspace.go: the figures of the pictures, which are measured anew.
//
// # What holds
//
//   - Every rendering is made of a [Signoff] alone. None measures or judges.
//   - Figures in JSON and CSV have full precision; tables round them.
//   - signoff.json is what [Signoff.JSON] writes for its content, byte for byte: a changed digit,
//     blank or order of fields is found by [Read].
//   - Verdicts in a [Signoff] follow from the figures beside them ([Signoff.CheckVerdicts]), and
//     the errors of judged rows from the sums over sequences.
//   - A field keeps its name and meaning as long as [Schema] stays. Types that are embedded stand
//     in their place in JSON: the order of fields is part of the format.
//   - Every rendering that people read as a whole carries [Caution], one of a single screen
//     [ShortCaution].
//   - Texts from files reach a rendering through the escape of its format: [Table.Visible],
//     [SafeCell], or that of Markdown.
package report

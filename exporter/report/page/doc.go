// Package page draws signoff.html: one page for screen and print that is made of signoff.json
// alone. So the page of an old sign-off can be made again, and kerf verify compares it byte for
// byte. The sums over sequences, which nothing on the page shows, stay out of it.
//
// # What to read first
//
//   - html.go and signoff.html.tmpl: [HTML], what the page holds and in which order
//   - sheet.go: the first page, which is signed and printed on one sheet of paper
//   - tables.go: which rows are printed and which fold away, and columns that say nothing
//   - figure.go: a picture with its caption, and the sizes that all pictures share
//   - drawing.go and scale.go: lines, marks, texts, scales and axes as SVG
//   - picture_*.go: one kind of picture each. A function named ...Figures, ...Choices or ...Views
//     takes what the sign-off holds of it, one named ...Picture draws.
//   - signoff.css and signoff.js: colours and strokes, and what moves
//   - escaping.go: what keeps names text
//
// # Where the figures of the pictures come from
//
// This package measures nothing. What pictures show beyond the tables is a part of the sign-off
// ([report.Pictures]) and so of signoff.json: package report fills it from a result of the budget,
// since a page that is made later has neither the networks nor the recordings. Sequences are
// thinned there so that no peak is lost: of every so many steps the one with the largest error
// stays. Values for pictures have five digits; no verdict reads them.
//
// The types belong to report, whose JSON they are. The runs that fill them (pictures.go, tracks.go
// and outputspace.go of report) would stand better in package budget beside the loss, for which the
// same networks run over the same recordings.
//
// # Pictures
//
//   - A picture is SVG written by Go. Colours and strokes are classes of signoff.css, so the same
//     picture is light, dark and printed.
//   - Every metric that is judged has a picture, in which a row that does not pass stands on a
//     band.
//   - Every kind of mark has a shape or a fill beside its colour, every picture a text alternative,
//     and every figure stands in a table as well, or in signoff.json where a picture has more
//     candidates than a table would show.
//   - signoff.js draws nothing. It moves limit lines, fills marks, shows and hides. It reads
//     figures from the signoff.json that stands in the page, and compares. Without it the page is
//     whole.
//
// # Invariants
//
//   - Names come from files of the user's, so they may be anything. html/template and
//     html.EscapeString keep them text; the JSON in the page has <, >, & and all characters beyond
//     ASCII escaped; hidden characters are written by their code; and a policy in the page lets no
//     script run but ours, by its hash.
//   - The page asks for nothing from outside.
//   - What is judged is printed. What folds on screen is left out of print, which says where it is.
//   - The first page has a number of lines: a text that is shortened there says which part has all.
//   - The same signoff.json gives the same bytes on every processor: coordinates have a tenth of a
//     pixel, and ticks are found without logarithms.
package page

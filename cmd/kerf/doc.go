// Command kerf cuts a trained recurrent network down until it fits a microcontroller, measures what
// the cut costs, and hands the result to firmware. kerf --help lists its verbs.
//
// The package turns a command line into calls of the packages to its left, and what they return
// into text and an exit code. It computes nothing that a handoff depends on.
//
// # What to read first
//
// A run goes through these files:
//
//   - run.go: from the arguments to the exit code. It makes the app, which holds the streams of one
//     run, and the context that Ctrl-C ends, and hands both to the command.
//   - verb.go: the skeleton of all verbs. A verb is a function from the arguments, from the inputs
//     of a job, or from a chosen candidate to a result; the skeleton reads, chooses, prints and
//     sets the exit code.
//   - One file for each verb, such as observe.go: its command with the help text, its work, its
//     result and the tables of the result. plan.go has what plan, export, demo and verify --against
//     share, signoff.go what plan, export, demo and show print with --all, first_screen.go what
//     they print without.
//   - result.go: what a result is, and its formats. JSON and CSV (records.go) come from the
//     exported fields of the result, text (texttable.go) and Markdown from its tables.
//
// Beside them, choice.go has the options of a candidate, measuring.go the measuring on emulated
// cores, handoffs.go the reading of a handoff, explain_names.go the rows that a name may mean,
// page.go the width and colours of stdout, ui.go all that goes to stderr, words.go a page of the
// help, and completion.go what a shell offers.
//
// A new verb is a file with a function that returns its command, made by app.verb, app.jobVerb or
// app.candidateVerb; a line in rootCommand and one in addCompletions; and, as tests demand, a line
// in everyResult (results_test.go), docs/results.md, docs/man and the README.
//
// # What always holds
//
//   - stdout has the result and nothing else, stderr messages that begin with "kerf:". How far work
//     is stands on a terminal only.
//   - The exit codes are those of run.go, and a result says by itself whether a limit is broken.
//   - A message about bad input says what is wrong and where, and has a hint; it comes before any
//     work where that is possible. A panic is a bug of kerf.
//   - A verb writes files last, whole, and never over a file that it did not write (package whole,
//     exporter.WriteFolder).
//   - Ctrl-C ends a verb within a second, without a word and by the signal, so that a script around
//     kerf ends too; nothing is written after it. What a training has written before is the
//     checkpoint that the user named. A second Ctrl-C ends the process in any case.
//   - Texts from files are shown with report.Visible, so that they cannot steer a terminal.
package main

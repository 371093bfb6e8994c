// Package exporter makes, writes and verifies a handoff: the folder that firmware gets.
//
// # The parts of a handoff
//
//   - An [emit.Program] is what the C is made of: the integer network, the steps of the self-test,
//     and what the heads of the files say. Package emit writes it as C and as NAME_network.json.
//   - A [report.Signoff] is what is signed: every figure and every verdict. Package report writes
//     it as signoff.json, Markdown and CSV, package page as signoff.html.
//   - A [Manifest] names every file by content: what went in, and what came out.
//
// [Files] makes all of them from a result of the budget, in memory, and [WriteFolder] puts them in
// place at once. [Verify] goes the other way: it reads a folder, makes again what follows from
// signoff.json and NAME_network.json, and compares. kerf verify --against makes the whole handoff
// again from its job ([Verification.CheckInputs], [Verification.CheckLoaded],
// [Verification.CheckAgain]).
//
// # What to read first
//
//   - handoff.go: what a handoff is made of
//   - reports.go and manifest.go: the renderings of the sign-off; the manifest
//   - folder.go: writing the folder so that nothing of the user's is lost
//   - verification.go: what a verification says, check by check
//   - verify.go, verify_network.go, verify_selftest.go and verify_job.go: the checks, in the order
//     in which they run
//
// # Invariants
//
//   - A handoff is whole or not there, and it takes the place of a handoff or of nothing.
//   - Every file but the manifest follows from signoff.json and NAME_network.json, byte for byte,
//     as long as the same version of kerf writes it. So the same functions make a handoff and
//     verify it.
//   - A folder that is verified comes from others: every file in it is read with a limit, and no C
//     is run but C that this kerf would emit.
package exporter

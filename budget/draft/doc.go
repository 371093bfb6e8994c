// Package draft writes the first version of a job from a network and a recording (kerf init).
//
// Read draft.go first: [New] tries every reading of the model file (package model), every order of
// the columns (columns.go) and the usual normalisations, by running the network on the recording
// (try.go), and keeps the guess that explains most of the recorded outputs. text.go writes
// job.toml, features.csv and outputs.csv.
//
// Many readings are tried on few steps, and a quarter of them on more each time; the finalists are
// compared with an interval over whole sequences ([dataset.Compare]). What the recording does not
// tell apart is left to the user ([Draft.Choices]).
//
// Every guess is marked in the text as such ([Guess]), and a value that only the user knows has a
// mark that package budget refuses ([FillIn]). A draft is never taken for a job that somebody
// wrote.
package draft

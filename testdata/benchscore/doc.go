// Package benchscore measures how fast networks are scored and trained, beside the arithmetic peak
// of the processor and a general-purpose tensor library; README.md says how to read it.
package benchscore

//go:generate sh -c "cd generate && go run . -out ../peak_amd64.s -stubs ../peak_amd64.go -pkg benchscore"

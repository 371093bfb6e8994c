package main

import (
	"os"
	"testing"
)

// Of the front ends that judge none is left out, and no more are beyond the aim than docs/cost.md
// says; what name_features and name_sample take of the stack is never above its bound.
func TestFrontEndsThatJudge(t *testing.T) {
	if err := os.Chdir("../.."); err != nil {
		t.Fatal(err)
	}
	defer os.Chdir("testdata/kernels")
	rows, err := compareFronts(true)
	if err != nil {
		t.Fatal(err)
	}
	beyond := map[string]int{}
	for _, r := range rows {
		if r.isBeyond {
			beyond[r.core]++
		}
		if r.deeper < 0 {
			t.Errorf("%s, %s: the stack is %d B deeper than its bound", r.core, r.text, -r.deeper)
		}
	}
	t.Logf("beyond the aim: %v of %d each", beyond, frontHeld)
	if len(rows) != 7*frontHeld {
		t.Errorf("%d rows", len(rows))
	}
}

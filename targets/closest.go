package targets

import (
	"fmt"
	"strings"
)

// DidYouMean returns a hint for a word that is none of the known words: the closest known word if
// the difference can be a slip, else all known words. Of two words that are equally close the one
// with the longer common beginning wins, so "cortex-m4" leads to "cortex-m4f" and not to
// "cortex-m3".
func DidYouMean(word string, known []string) string {
	best, bestEdits, bestShared := "", 0, 0
	for _, k := range known {
		a, b := strings.ToLower(word), strings.ToLower(k)
		count, shared := edits(a, b), sharedBeginning(a, b)
		// Our choice: a slip changes at most a third of the letters of the known word, rounded
		// up. Two letters that changed places count as two changes.
		if count > (len(k)+2)/3 {
			continue
		}
		if best == "" || count < bestEdits || count == bestEdits && shared > bestShared {
			best, bestEdits, bestShared = k, count, shared
		}
	}
	if best != "" {
		return fmt.Sprintf("did you mean %q?", best)
	}
	return "known here: " + strings.Join(known, ", ")
}

// sharedBeginning counts the bytes that a and b have in common at their start.
func sharedBeginning(a, b string) int {
	n := 0
	for n < min(len(a), len(b)) && a[n] == b[n] {
		n++
	}
	return n
}

// edits counts the bytes to insert, remove or replace to turn a into b (Levenshtein distance;
// Wagner and Fischer, "The String-to-String Correction Problem", Journal of the ACM 21(1), 1974).
func edits(a, b string) int {
	row := make([]int, len(b)+1) // row[j]: from the part of a seen so far to b[:j]
	for j := range row {
		row[j] = j
	}
	for i := range len(a) {
		diagonal := row[0]
		row[0] = i + 1
		for j := range len(b) {
			replace := diagonal
			if a[i] != b[j] {
				replace++
			}
			diagonal = row[j+1]
			row[j+1] = min(replace, row[j+1]+1, row[j]+1)
		}
	}
	return row[len(b)]
}

package fault

import (
	"slices"
	"strconv"
	"strings"
	"unicode"
)

// Limits of suggestions, our choice.
const (
	// mostSuggested is how many names a suggestion has: more are a list, not an answer.
	mostSuggested = 3
	// mostListed is how many known names a hint lists where none is close.
	mostListed = 24
	// longestCompared is the length in characters up to which names are compared letter by letter,
	// as long as a name may be: the work grows with the square of it.
	longestCompared = 200
	// shortestBeginning is the fewest characters that count as the beginning of a name.
	shortestBeginning = 3
)

// DidYouMean returns a hint for a word that is none of the known words: the closest known words if
// the difference can be a slip, else the known words.
func DidYouMean(word string, known []string) string {
	if question := suggestion(word, known); question != "" {
		return question
	}
	listed := make([]string, 0, mostListed)
	for _, k := range known[:min(mostListed, len(known))] {
		listed = append(listed, inList(k))
	}
	list := "known here: " + strings.Join(listed, ", ")
	if more := len(known) - len(listed); more > 0 {
		list += ", and " + strconv.Itoa(more) + " more"
	}
	return list
}

// DidYouMeanOr returns a hint for a word that is none of the known words: the closest known words
// if the difference can be a slip, and behind them the given hint, which stands alone otherwise.
func DidYouMeanOr(word string, known []string, hint string) string {
	return strings.TrimSpace(suggestion(word, known) + " " + hint)
}

// suggestion asks for the closest known words; it is empty if none is close.
func suggestion(word string, known []string) string {
	quoted := Closest(word, known)
	for i, k := range quoted {
		quoted[i] = strconv.Quote(k)
	}
	return Question(quoted)
}

// Question asks whether one of some texts was meant; it is empty without a text.
func Question(texts []string) string {
	if len(texts) == 0 {
		return ""
	}
	last := len(texts) - 1
	text := texts[last]
	if last > 0 {
		text = strings.Join(texts[:last], ", ") + " or " + text
	}
	return "did you mean " + text + "?"
}

// Closest returns the known words that may be meant by a word, three at most; none if the word is
// known. Those are returned that differ by upper and lower case alone, or by a blank, an underscore
// or a hyphen for one another; if there is none, those that begin with the word, unless they are
// too many; else those from which the word can differ by a slip, see [nearest].
func Closest(word string, known []string) []string {
	if slices.Contains(known, word) {
		return nil
	}
	key := Folded(word)
	same := matching(known, func(k string) bool { return k == key })
	if len(same) > 0 {
		return same[:min(mostSuggested, len(same))]
	}
	longer := matching(known, func(k string) bool { return strings.HasPrefix(k, key) })
	if n := len([]rune(key)); n >= shortestBeginning && len(longer) > 0 &&
		len(longer) <= mostSuggested {
		return longer
	}
	return nearest([]rune(key), known)
}

// matching returns the known words that match when they are folded, each once.
func matching(known []string, matches func(folded string) bool) []string {
	var all []string
	for _, k := range known {
		if matches(Folded(k)) && !slices.Contains(all, k) {
			all = append(all, k)
		}
	}
	return all
}

// nearest returns the known words that have the least distance from a word that is folded, and of
// those that are equally close the ones with the longest common beginning, three at most.
func nearest(word []rune, known []string) []string {
	var best []string
	bestEdits, bestShared := 0, 0
	for _, k := range known {
		folded := []rune(Folded(k))
		n := len(folded)
		// Our choice: a slip changes at most a third of the letters of the known word, rounded
		// up. Two letters that changed places count as two changes.
		most := (n + 2) / 3
		if slices.Contains(best, k) || n > longestCompared ||
			max(len(word)-n, n-len(word)) > most {
			continue
		}
		count, shared := edits(word, folded), sharedBeginning(word, folded)
		switch {
		case count > most || count == n: // or nothing of the known word is left
		case len(best) == 0 || count < bestEdits || count == bestEdits && shared > bestShared:
			best, bestEdits, bestShared = []string{k}, count, shared
		case count == bestEdits && shared == bestShared && len(best) < mostSuggested:
			best = append(best, k)
		}
	}
	return best
}

// Folded returns a name as it is compared where case does not count and where people write a blank
// for an underscore or a hyphen, or one for another.
func Folded(name string) string {
	return strings.Map(func(r rune) rune {
		if r == '_' || r == '-' || unicode.IsSpace(r) {
			return ' '
		}
		return unicode.ToLower(r)
	}, strings.TrimSpace(name))
}

// inList returns a name as it is in a list with commas: in quotes where its ends would not be seen,
// or a character in it.
func inList(name string) string {
	isPlain := name != "" && strings.TrimSpace(name) == name && !strings.ContainsAny(name, `,"`) &&
		strings.IndexFunc(name, func(r rune) bool { return !strconv.IsPrint(r) }) < 0
	if isPlain {
		return name
	}
	return strconv.Quote(name)
}

// sharedBeginning counts the characters that a and b have in common at their start.
func sharedBeginning(a, b []rune) int {
	n := 0
	for n < min(len(a), len(b)) && a[n] == b[n] {
		n++
	}
	return n
}

// edits counts the characters to insert, remove or replace to turn a into b (Levenshtein distance;
// Wagner and Fischer, "The String-to-String Correction Problem", Journal of the ACM 21(1), 1974).
func edits(a, b []rune) int {
	row := make([]int, len(b)+1) // row[j]: from the part of a seen so far to b[:j]
	for j := range row {
		row[j] = j
	}
	for i := range a {
		diagonal := row[0]
		row[0] = i + 1
		for j := range b {
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

package budget

import (
	"fmt"
	"slices"
	"strings"

	"kerf/quant"
)

// recipe says how a network comes about by training: where it starts, and what is taken away or
// rounded on the way. A recipe and a fold say which sequences of a job it is trained on, so the
// same recipe gives the same network wherever it is followed.
type recipe struct {
	features []int   // of the network as given: those that the first training begins with
	units    [][]int // the same per recurrent layer; of a network from scratch their number counts
	scratch  bool    // the first training begins with drawn weights, else with the cut
	gentle   bool    // the first training is at gentleRate of the rate
	seed     int     // added to that of the job
	lessons  []lesson
}

// lesson is a training that follows the first one.
type lesson struct {
	features []int          // of the network as given: those that are left
	formats  *quant.Formats // that the forward pass is rounded to; nil: none
}

// fromScratch returns the recipe with drawn weights as its start.
func (r recipe) fromScratch() recipe {
	r.scratch = true
	return r
}

// gently returns the recipe with its first training at gentleRate of the rate.
func (r recipe) gently() recipe {
	r.gentle = true
	return r
}

// then returns the recipe with one more lesson.
func (r recipe) then(l lesson) recipe {
	r.lessons = append(slices.Clip(r.lessons), l)
	return r
}

// before returns the recipe without its last lesson, and that lesson.
func (r recipe) before() (recipe, lesson) {
	last := len(r.lessons) - 1
	l := r.lessons[last]
	r.lessons = r.lessons[:last]
	return r, l
}

// kept returns the features that are left at the end.
func (r recipe) kept() []int {
	if len(r.lessons) == 0 {
		return r.features
	}
	return r.lessons[len(r.lessons)-1].features
}

// isShorter reports whether features go in the last lesson.
func (r recipe) isShorter() bool {
	before, l := r.before()
	return len(l.features) < len(before.kept())
}

// candidate returns what a recipe makes, before it is trained. A network from scratch has none of
// the given units, so its own are counted.
func (r recipe) candidate() Candidate {
	c := Candidate{Features: r.kept(), Units: r.units}
	if r.scratch {
		c.Units = make([][]int, len(r.units))
		for l, units := range r.units {
			c.Units[l] = make([]int, len(units))
			for j := range units {
				c.Units[l][j] = j
			}
		}
	}
	return c
}

// counts returns the number of units per recurrent layer.
func (r recipe) counts() []int { return unitCounts(r.units) }

// formats returns the words that the forward pass of the last training is rounded to; nil: none.
func (r recipe) formats() *quant.Formats {
	if len(r.lessons) == 0 {
		return nil
	}
	return r.lessons[len(r.lessons)-1].formats
}

// key stands for a recipe in a map and in a file.
func (r recipe) key() string {
	var b strings.Builder
	if r.gentle {
		fmt.Fprint(&b, "gently ")
	}
	if r.seed > 0 {
		fmt.Fprint(&b, "seed +", r.seed, " ")
	}
	if r.scratch {
		fmt.Fprint(&b, "scratch ", r.counts(), r.features)
	} else {
		fmt.Fprint(&b, "cut ", r.units, r.features)
	}
	for _, l := range r.lessons {
		fmt.Fprint(&b, " then ", l.features)
		if l.formats != nil {
			fmt.Fprint(&b, " in ", l.formats)
		}
	}
	return b.String()
}

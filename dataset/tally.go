package dataset

// Tally adds up the errors of one output step by step, for metrics that compare no two predictors.
// The zero value has no steps.
type Tally struct{ sums tally }

// Add counts a step with an error: prediction minus reference.
func (t *Tally) Add(e float64) { t.sums.add(e) }

// AddClass counts a step of a classifier of so many classes.
func (t *Tally) AddClass(classes, class, predicted int) {
	if t.sums.members == nil {
		t.sums.members, t.sums.found = make([]int, classes), make([]int, classes)
	}
	t.sums.addClass(class, predicted)
}

// Merge adds the steps of another tally.
func (t *Tally) Merge(u *Tally) { t.sums.merge(&u.sums) }

// Steps returns how many steps were counted.
func (t *Tally) Steps() int { return t.sums.steps }

// Value returns a metric over the steps, 0 if there are none. It panics on [Agreement] and
// [Explained], which compare two predictors.
func (t *Tally) Value(m Metric) float64 {
	if m == Agreement {
		panic("dataset: a tally knows no other predictor to agree with")
	}
	return t.sums.value(m)
}

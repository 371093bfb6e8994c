package main

import (
	"crypto/sha256"
	"fmt"
	"math/rand/v2"
	"strings"

	"kerf/budget"
)

// breakage is one way in which a job was broken, and the findings of kerf that would be right.
type breakage struct {
	says  string // the change, for reports
	alone bool   // only the sign-off recordings were changed
	right []finding
}

// finding describes a cause (budget.Cause) that would be right: its kind, and texts that its Place
// and its Says must hold.
type finding struct {
	kind   string
	place  []string
	saying []string
}

// names reports whether a cause is right.
func (b *breakage) names(c *budget.Cause) bool {
	if b.alone && !c.Signoff {
		return false
	}
	for _, f := range b.right {
		if c.Kind == f.kind && holdsAll(c.Place, f.place) && holdsAll(c.Says, f.saying) {
			return true
		}
	}
	return false
}

// holdsAll reports whether a text holds every part.
func holdsAll(text string, parts []string) bool {
	for _, p := range parts {
		if !strings.Contains(text, p) {
			return false
		}
	}
	return true
}

// kind is a sort of breakage.
type kind struct {
	name  string
	jobs  []string // jobs that can be broken so
	apply func(d *draft, random *rand.Rand) breakage
}

var allJobs = []string{demoJob, cityJob, lstmJob, elmanJob}

// kinds are all kinds, in the order of README.md.
var kinds = []kind{
	{"lines of features.csv", allJobs, exchangeLines},
	{"columns of the recordings", allJobs, exchangeColumns},
	{"normalisation forgotten", allJobs, forgetNormalisation},
	{"normalisation doubled", allJobs, doubleNormalisation},
	{"column scaled", allJobs, scaleColumn},
	{"mean or std", allJobs, falsifyStatistics},
	{"cell or activation", allJobs, exchangeActivation},
	{"reset gate", []string{demoJob, cityJob}, resetBefore},
	{"gate order", []string{demoJob, cityJob, lstmJob}, reorderGates},
	{"transposed", allJobs, transpose},
	{"dense layers", []string{lstmJob}, exchangeDense},
	{"output scale", allJobs, falsifyOutputScale},
	{"outputs shifted", allJobs, shiftOutputs},
	{"outputs exchanged", allJobs, exchangeOutputs},
	{"scrambled sign-off", allJobs, scramble},
}

const (
	drawsPerKind = 15
	dealsDrawn   = 5
)

// Sets of draws. The check was improved by what the first two showed, so the third one judges it.
const (
	firstSet  = "first"
	secondSet = "second"
	thirdSet  = "third"
)

// draw returns broken job n of a kind in a set; drafts are the unbroken jobs by name.
func (k *kind) draw(set string, n int, drafts map[string]*draft) (d *draft, b breakage) {
	random := rand.New(
		rand.NewChaCha8(sha256.Sum256(fmt.Appendf(nil, "%s set, %s, %d", set, k.name, n))))
	job := k.jobs[random.IntN(len(k.jobs))]
	d = drafts[job].dealt(uint64(n % dealsDrawn)).clone()
	return d, k.apply(d, random)
}

// pair draws two different places of n, the smaller first.
func pair(random *rand.Rand, n int) (i, j int) {
	i = random.IntN(n)
	j = random.IntN(n - 1)
	if j >= i {
		return i, j + 1
	}
	return j, i
}

// recordings draws the recordings to break: the sign-off recordings alone, or both sets. words
// names them for reports.
func (d *draft) recordings(random *rand.Rand) (which []*recording, alone bool, words string) {
	if random.IntN(2) == 0 {
		return []*recording{d.signoff}, true, "sign-off recordings"
	}
	return []*recording{d.selection, d.signoff}, false, "recordings"
}

// power draws the exponent of a power of ten: from -6 to 6, not 0.
func power(random *rand.Rand) int {
	k := random.IntN(6) + 1
	if random.IntN(2) == 0 {
		return -k
	}
	return k
}

// fits returns the words of a cause that names the power of ten which undoes the factor 10^k.
func fits(k int) string {
	if k < 0 {
		return fmt.Sprintf("times 1%s fits", strings.Repeat("0", -k))
	}
	return fmt.Sprintf("times 0.%s1 fits", strings.Repeat("0", k-1))
}

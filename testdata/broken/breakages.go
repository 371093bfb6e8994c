package main

import (
	"crypto/sha256"
	"fmt"
	"math/rand/v2"
	"strings"

	"kerf/budget"
)

// breakage is one way in which a job was broken, and what kerf should say of it.
type breakage struct {
	says  string // what was done
	alone bool   // to the sign-off recordings alone
	right []finding
}

// finding is a cause that would be right.
type finding struct {
	kind   string
	place  []string // texts that the place of the cause holds
	saying []string // and what it says
}

// names tells whether a cause is right.
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

func holdsAll(text string, parts []string) bool {
	for _, p := range parts {
		if !strings.Contains(text, p) {
			return false
		}
	}
	return true
}

// kind is a sort of breakage: the jobs that can be broken so, and how one is.
type kind struct {
	name  string
	jobs  []string
	apply func(d *draft, random *rand.Rand) breakage
}

var allJobs = []string{demoJob, cityJob, lstmJob, elmanJob}

// kinds in the order of README.md.
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

// draw is draw n of a kind in a set; drafts are the unbroken jobs by name.
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

// recordings draws which are broken.
func (d *draft) recordings(random *rand.Rand) (which []*recording, alone bool, words string) {
	if random.IntN(2) == 0 {
		return []*recording{d.signoff}, true, "sign-off recordings"
	}
	return []*recording{d.selection, d.signoff}, false, "recordings"
}

// power draws k of a power of ten, not 0.
func power(random *rand.Rand) int {
	k := random.IntN(6) + 1
	if random.IntN(2) == 0 {
		return -k
	}
	return k
}

// fits is the text of the power of ten that takes one of 10^k back.
func fits(k int) string {
	if k < 0 {
		return fmt.Sprintf("times 1%s fits", strings.Repeat("0", -k))
	}
	return fmt.Sprintf("times 0.%s1 fits", strings.Repeat("0", k-1))
}

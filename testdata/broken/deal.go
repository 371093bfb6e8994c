package main

import (
	"math/rand/v2"
)

// Seeds of the generators of deals and splits, PCG(seed, number); see README.md.
const (
	dealSeed  = 40_000
	splitSeed = 42_000
	openSeed  = 43_000
)

// dealt puts the sequences of both sets together and deals them anew, as many of each scenario as
// before; number 0 leaves them as they are. Sequences keep their order.
func (d *draft) dealt(number uint64) *draft {
	if number == 0 {
		return d
	}
	counts := map[string][]int{}
	for i, rec := range []*recording{d.selection, d.signoff} {
		for _, s := range rec.sequences {
			if counts[s.scenario] == nil {
				counts[s.scenario] = make([]int, 2)
			}
			counts[s.scenario][i]++
		}
	}
	pool := &recording{d.selection.header,
		append(append([]sequence(nil), d.selection.sequences...), d.signoff.sequences...)}
	parts := pool.deal(rand.New(rand.NewPCG(dealSeed, number)), 2, func(scenario string) []int {
		return counts[scenario]
	})
	c := *d
	c.selection, c.signoff = parts[0], parts[1]
	return &c
}

// deal deals sequences into parts. counts gives the number of sequences of a scenario in each part;
// the others are in no part.
func (r *recording) deal(random *rand.Rand, parts int,
	counts func(scenario string) []int) []*recording {
	part := make([]int, len(r.sequences))
	byScenario := map[string][]int{}
	var scenarios []string
	for i, s := range r.sequences {
		part[i] = -1 // in none
		if byScenario[s.scenario] == nil {
			scenarios = append(scenarios, s.scenario)
		}
		byScenario[s.scenario] = append(byScenario[s.scenario], i)
	}
	for _, scenario := range scenarios {
		order := random.Perm(len(byScenario[scenario]))
		for p, n := range counts(scenario) {
			for _, at := range order[:n] {
				part[byScenario[scenario][at]] = p
			}
			order = order[n:]
		}
	}
	dealt := make([]*recording, parts)
	for p := range dealt {
		dealt[p] = &recording{header: r.header}
		for i, s := range r.sequences {
			if part[i] == p {
				dealt[p].sequences = append(dealt[p].sequences, s)
			}
		}
	}
	return dealt
}

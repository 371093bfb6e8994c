package main

import (
	"cmp"
	"context"
	"math"
	"slices"

	"kerf/dataset"
	"kerf/model"
	"kerf/prune"
)

// ranking says which units go first by score and unexplained variance.
type ranking struct {
	d     *data
	share map[prune.Unit]float64
}

func newRanking(ctx context.Context, d *data) (*ranking, error) {
	scores, err := prune.UnitEffects(ctx, d.given, d.statistics.Means, d.rest)
	if err != nil {
		return nil, err
	}
	r := &ranking{d: d, share: map[prune.Unit]float64{}}
	units := prune.Units(d.given.Net)
	for _, ranked := range scores.Ranking() {
		r.share[units[ranked.Item]] = ranked.Share
	}
	return r, nil
}

// choose returns the units that stay, as budget's withUnits does.
func (r *ranking) choose(counts []int) [][]int {
	units := prune.AllUnits(r.d.given.Net)
	for {
		done := true
		for l := range units {
			if len(units[l]) <= counts[l] {
				continue
			}
			_, unexplained := r.d.statistics.Unexplained(r.d.given.Kept, units)
			next, least := -1, math.Inf(1)
			for at, j := range units[l] {
				u := prune.Unit{Layer: l, Index: j}
				if v := r.share[u] * math.Sqrt(unexplained[l][at]); v < least {
					next, least = at, v
				}
			}
			done = false
			units[l] = slices.Delete(slices.Clone(units[l]), next, next+1)
		}
		if done {
			return units
		}
	}
}

// cut takes all but some units out of the network as given.
func (r *ranking) cut(units [][]int) *dataset.Float {
	return r.d.statistics.Cut(r.d.given.Kept, units, prune.Refit)
}

// cutFrom takes all but some units out of another network.
func cutFrom(d *data, p *dataset.Float, units [][]int) *dataset.Float {
	return prune.MeasureStatistics(p, d.rest).Cut(p.Kept, units, prune.Refit)
}

// largest returns the indices of the largest values, ascending.
func largest(values []float64, count int) []int {
	order := make([]int, len(values))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(values[b], values[a]) })
	order = order[:count]
	slices.Sort(order)
	return order
}

// readers returns the weights by which a unit is read: its columns in the recurrent weights of its
// layer and in the weights of the next one.
func readers(net *model.Network, layer, unit int) []*float64 {
	l := net.Recurrent[layer]
	var all []*float64
	column := func(w []float64, columns int) {
		for at := unit; at < len(w); at += columns {
			all = append(all, &w[at])
		}
	}
	column(l.U, l.Units)
	if layer+1 < len(net.Recurrent) {
		column(net.Recurrent[layer+1].W, net.Recurrent[layer+1].Inputs)
	} else {
		column(net.Dense[0].W, net.Dense[0].Inputs)
	}
	return all
}

// rows returns the weights by which a unit reads.
func rows(net *model.Network, layer, unit int) []*float64 {
	l := net.Recurrent[layer]
	var all []*float64
	for row := unit; row < len(l.B); row += l.Units {
		for i := range l.Inputs {
			all = append(all, &l.W[row*l.Inputs+i])
		}
		for i := range l.Units {
			all = append(all, &l.U[row*l.Units+i])
		}
	}
	return all
}

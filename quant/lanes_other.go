//go:build !amd64

package quant

import (
	"context"

	"kerf/dataset"
)

// useLanes is false: the kernels exist for amd64 only.
const useLanes = false

// lanes is not used where useLanes is false.
type laneNetwork struct{}

// newLanes is not called where useLanes is false.
func (n *Network) newLanes() *laneNetwork { panic("quant: no lanes on this processor") }

// visit is not called either.
func (s *laneNetwork) visit([]*dataset.Sequence, func(lane, step int, beforeHead, y []int32)) {}

// runFaultyLanes is not called where useLanes is false.
func (n *Network) runFaultyLanes(context.Context, []int32, int, []faultyRun,
	func(fault, step int, y []int32)) error {
	panic("quant: no lanes on this processor")
}

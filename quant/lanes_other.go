//go:build !amd64

package quant

import "kerf/dataset"

// useLanes is false: the kernels exist for amd64 only.
const useLanes = false

// lanes is not used where useLanes is false.
type lanes struct{}

// newLanes is not called where useLanes is false.
func (n *Network) newLanes() *lanes { panic("quant: no lanes on this processor") }

// visit is not called either.
func (s *lanes) visit([]*dataset.Sequence, func(lane, step int, beforeHead, y []int32)) {}

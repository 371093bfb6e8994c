package quant

// Shape is what the size of a network in a device follows from.
type Shape struct {
	Features, Units, Outputs int
	Formats                  Formats
}

const (
	gates      = 3 // of a GRU
	biasBytes  = 4 // int32
	shiftBytes = 1 // uint8
)

// WeightBytes is the flash of all weights, of a bias for every row, and of a
// shift for every row of the gates. The emitted C checks the figure when it is
// compiled.
func (s Shape) WeightBytes() int {
	rows := gates * s.Units
	weights := rows*s.Features*s.Formats.InputBits/8 + rows*s.Units*s.Formats.RecurrentBits/8 + s.Outputs*s.Units*s.Formats.HeadBits/8
	return weights + 2*rows*(biasBytes+shiftBytes) + s.Outputs*biasBytes
}

// StateBytes is the RAM of the state between two steps.
func (s Shape) StateBytes() int { return s.Units * s.Formats.StateBits / 8 }

// TableBytes is the flash of the tanh table.
func TableBytes() int { return 2 * (tableSteps + 1) }

// MultiplyAccumulates is the number of products in one step.
func (s Shape) MultiplyAccumulates() int {
	return gates*s.Units*(s.Features+s.Units) + s.Outputs*s.Units
}

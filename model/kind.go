package model

import "fmt"

// Kind says which equations a recurrent layer follows.
type Kind int

// GRUResetAfter is the gated recurrent unit whose reset gate acts after the recurrent product. With s the logistic function:
//
//	r  = s(Wr x + Br + Ur h + Dr)
//	z  = s(Wz x + Bz + Uz h + Dz)
//	n  = tanh(Wn x + Bn + r * (Un h + Dn))
//	h' = (1 - z) * n + z * h
//
// Source: PyTorch documentation of torch.nn.GRU; ONNX operator GRU with linear_before_reset = 1.
const GRUResetAfter Kind = iota + 1

// Gates returns the number of gate blocks, each Units rows high, in the weights of a layer. It panics on an unknown kind.
func (k Kind) Gates() int {
	switch k {
	case GRUResetAfter:
		return 3
	}
	panic(fmt.Sprintf("model: unknown kind of recurrent layer %d", int(k)))
}

// String names the kind as reports print it.
func (k Kind) String() string {
	switch k {
	case GRUResetAfter:
		return "GRU (reset-after)"
	}
	return fmt.Sprintf("unknown kind %d", int(k))
}

package model

import "fmt"

// Kind says which equations a recurrent layer follows.
//
// In the equations x is the input of the step, h the state before it and h' the state after it, s
// the logistic function, * the product element by element. W, U, B and D with the letter of a gate
// are the blocks of that gate in the fields of [Recurrent].
type Kind int

// The kinds of recurrent layers.
const (
	// GRUResetAfter is the gated recurrent unit whose reset gate acts after the recurrent product:
	//
	//	r  = s(Wr x + Br + Ur h + Dr)
	//	z  = s(Wz x + Bz + Uz h + Dz)
	//	n  = tanh(Wn x + Bn + r * (Un h + Dn))
	//	h' = (1 - z) * n + z * h
	//
	// Source: PyTorch documentation of torch.nn.GRU; ONNX operator GRU with linear_before_reset =
	// 1.
	GRUResetAfter Kind = iota + 1

	// GRUResetBefore is the gated recurrent unit whose reset gate acts before the recurrent
	// product. Only the candidate differs from [GRUResetAfter], and neither form can be rewritten
	// as the other:
	//
	//	n = tanh(Wn x + Bn + Un (r * h) + Dn)
	//
	// Source: ONNX operator GRU with linear_before_reset = 0, its default; Keras documentation of
	// GRU with reset_after=False.
	GRUResetBefore

	// LSTM is the long short-term memory without peepholes and without projection. Beside h it
	// keeps the cell state c:
	//
	//	i  = s(Wi x + Bi + Ui h + Di)
	//	f  = s(Wf x + Bf + Uf h + Df)
	//	g  = tanh(Wg x + Bg + Ug h + Dg)
	//	o  = s(Wo x + Bo + Uo h + Do)
	//	c' = f * c + i * g
	//	h' = o * tanh(c')
	//
	// Source: PyTorch documentation of torch.nn.LSTM; ONNX operator LSTM.
	LSTM

	// ElmanTanh is the plain recurrent layer h' = tanh(W x + B + U h + D).
	//
	// Source: PyTorch documentation of torch.nn.RNN; ONNX operator RNN.
	ElmanTanh

	// ElmanReLU is the plain recurrent layer h' = max(0, W x + B + U h + D). Its state has no
	// bound.
	//
	// Source: PyTorch documentation of torch.nn.RNN with nonlinearity="relu"; ONNX operator RNN.
	ElmanReLU
)

// kinds holds the constants of each kind; the first entry is no kind.
var kinds = [...]struct {
	gates int
	text  string
}{
	GRUResetAfter:  {3, "GRU (reset-after)"},
	GRUResetBefore: {3, "GRU (reset-before)"},
	LSTM:           {4, "LSTM"},
	ElmanTanh:      {1, "Elman (tanh)"},
	ElmanReLU:      {1, "Elman (ReLU)"},
}

func (k Kind) known() bool { return k >= GRUResetAfter && int(k) < len(kinds) }

// Gates returns the number of gate blocks, each Units rows high, in the weights of a layer. It
// panics on an unknown kind.
func (k Kind) Gates() int {
	if !k.known() {
		panic(fmt.Sprintf("model: unknown kind of recurrent layer %d", int(k)))
	}
	return kinds[k].gates
}

// HasCell reports whether a layer keeps a cell state beside its hidden state.
func (k Kind) HasCell() bool { return k == LSTM }

// String returns the name of the kind in reports.
func (k Kind) String() string {
	if !k.known() {
		return fmt.Sprintf("unknown kind %d", int(k))
	}
	return kinds[k].text
}

// KindNamed returns the kind whose [Kind.String] is text, and reports whether there is one.
func KindNamed(text string) (Kind, bool) {
	for k := GRUResetAfter; k.known(); k++ {
		if kinds[k].text == text {
			return k, true
		}
	}
	return 0, false
}

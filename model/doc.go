// Package model holds the trained float network: its layers, its forward pass, losses, and
// readers for the open file formats that training programs write.
//
// A [Network] is a chain of one to three recurrent layers and then dense layers, all of which are
// applied at every time step. Matrices are row-major slices of float64; a matrix [Rows × Columns]
// times a vector of Columns values gives Rows values. Features enter the network normalised and
// outputs leave it raw: the package knows nothing of physical units.
//
// # What to read first
//
//   - network.go and kind.go: the layers, and the equations of every [Kind]
//   - run.go, with cell.go: [Run] steps a network through a sequence
//   - loss.go: the losses of training; lanes.Tape carries their derivatives back
//   - readfile.go: [ImportFile] reads a file by its extension
//   - torch.go and keras.go: named arrays of safetensors.go or npz.go become a network
//   - onnx.go: an ONNX graph becomes a network
//   - variants.go and readings.go: other networks that the same file could mean
//
// # How an ONNX graph is read
//
// decodeONNX (onnx_messages.go) turns bytes into nodes. Subgraphs are noticed, not decoded, and
// tensors stay encoded until they are used. onnxEval.run (onnx_eval.go) marks the nodes that the
// outputs need and computes their values in the order of the file. A value is one of four things
// (onnx_signal.go):
//
//   - A constant. Whatever follows from shapes is one: an axis of open size gets a prime that no
//     other axis has, so that all arithmetic on shapes gives numbers, and no size is taken for
//     another.
//   - A signal, which depends on the features: axes made of factors, and a chain, the layers so
//     far. The factors learn from the first recurrent layer whether they are steps, sequences or
//     values. Transposing permutes axes, and every kind of reshape regroups factors; a reshape that
//     would mix values of different steps is an error. Dense layers, biases, scales and activations
//     extend the chain (onnx_chain.go).
//   - A stack of signals, such as the last hidden states of several layers.
//   - An opaque value, such as a cell state, which may leave the graph but enter no computation.
//
// So the reader knows no pattern of any exporter. The operators are methods in onnx_*_operators.go
// and onnx_recurrent.go. All constants that a graph makes hold at most one value per byte of its
// file, plus 2^20 (onnxEval.spend).
//
// # Invariants
//
//   - The same network and features give the same bits on every processor: sums have a fixed order
//     ([Run.Step]).
//   - Files come from outside and are not trusted. Every length in them is checked against the
//     bytes that are there before memory is asked for, nothing in them is ever executed, and pickle
//     files are refused.
//   - A file gives a network that passes [Network.Validate], or an error of kind
//     [ErrFormat] or [ErrUnsupported] that names the place in the file.
//   - A caller's mistake in a shape panics.
package model

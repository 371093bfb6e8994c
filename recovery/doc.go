// Package recovery trains a network that was cut for a few epochs, so that it wins back accuracy:
// by back-propagation through time, from the weights it has, on selection recordings.
//
// With number formats given, the forward pass is the integer network itself, quantized anew before
// every update; the derivatives are those of the float equations at the rounded weights and at the
// states of the integer network, and go to the unrounded weights as if nothing had been rounded
// (straight-through estimator: Bengio, Léonard and Courville 2013, arXiv:1308.3432).
//
// The target may be mixed from the recorded outputs and those of a teacher, the network as given
// (distillation: Hinton, Vinyals and Dean 2015, arXiv:1503.02531). Part of the recordings is held
// back: on it the best epoch is found.
//
// A result depends on the seed and the order of the recordings, not on the number of cores: every
// sequence of a batch has a gradient of its own, and they are added up in the order of the batch.
package recovery

// Package recovery trains a network that was cut for a few epochs, so that it wins back accuracy:
// by back-propagation through time, from the weights it has, on selection recordings.
//
// With number formats given, the forward pass is the integer network itself, quantized anew before
// every update. The derivatives are those of the float equations at the rounded weights and at the
// states of the integer network; they go to the unrounded weights as if nothing had been rounded
// (straight-through estimator: Bengio, Léonard and Courville 2013, arXiv:1308.3432).
//
// The target may be mixed from the recorded outputs and those of a teacher, the network as given
// (distillation: Hinton, Vinyals and Dean 2015, arXiv:1503.02531). Then sequences are invented as
// well, which the teacher answers. Part of the recordings is held back: on it the best epoch is
// found.
//
// # Order of work
//
// [Split] holds sequences back. A [Task] says what is trained, on what, towards what; [Defaults]
// are the [Settings] that a job starts from. [Train] runs the training and returns a [Result]. A
// [Checkpoint] lets an interrupted training go on.
//
// # What to read first
//
//   - task.go: what is trained, and towards what
//   - train.go: the epochs, the updates, the best network
//   - lane.go: one sequence of a batch, forward through the integer network and back
//   - adam.go: the optimiser
//   - blend.go: invented sequences
//   - settings.go, split.go and checkpoint.go
//
// # Invariants
//
//   - Only selection recordings are read. Sequences that are held back judge epochs and are not
//     trained on, unless there is a single one.
//   - A result depends on the seed and the order of the recordings, not on the number of cores:
//     every sequence of a batch has a gradient of its own, and they are added up in the order of
//     the batch.
//   - A training that was interrupted and resumed ends with the same network as one that was not.
//   - If no epoch is better than the start, the result is the start.
//
// docs/recovery.md has how the settings were chosen, and what training wins back.
package recovery

// Package recovery trains small networks by back-propagation through time, on selection recordings:
// a network that was cut, so that it wins back accuracy, or a new one ([Scratch]).
//
// Eight sequences train side by side, one in each lane of a vector (package lanes). With number
// formats given, the forward pass has the weights of the integer network, rounded anew before every
// update, and rounds inputs and states as that network does. The derivatives go to the unrounded
// weights as if nothing had been rounded (straight-through estimator: Bengio, Léonard and Courville
// 2013, arXiv:1308.3432). The integer network itself judges the epochs.
//
// The target may be mixed from the recorded outputs and those of a teacher, the network as given
// (distillation: Hinton, Vinyals and Dean 2015, arXiv:1503.02531). Then sequences are invented as
// well, which the teacher answers. Part of the recordings is held back: on it the best epoch is
// found.
//
// # Order of work
//
// [Split] holds sequences back. A [Task] says what is trained, on what, towards what; [Defaults]
// are the [Settings] that a job starts from. [Train] runs the training and returns a [Result].
// Several trainings with one teacher share its [Answers]. A [Checkpoint] keeps
// trainings, and lets those that were interrupted go on.
//
// # What to read first
//
//   - task.go: what is trained, and towards what
//   - train.go: the epochs, the updates, the best network
//   - example.go: sequences to learn, and how they are dealt to lanes
//   - answers.go: what the teacher says
//   - ranges.go: the calibration of the network in training
//   - scratch.go: a new network
//   - adam.go: the optimiser
//   - blend.go: invented sequences
//   - settings.go, split.go and checkpoint.go
//
// # Invariants
//
//   - Only selection recordings are read. Sequences that are held back judge epochs and are not
//     trained on, unless there is a single one.
//   - A training runs on one core. Its result depends on the seed and the order of the recordings,
//     on nothing else, and is the same on every processor.
//   - A training that was interrupted and resumed ends with the same network as one that was not.
//   - If no epoch is better than the start, the result is the start.
//
// docs/recovery.md has how the settings were chosen, and what training wins back.
package recovery

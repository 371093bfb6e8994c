// Package fault has the error that every package of kerf returns for doubtful data: a message with
// the place that it is about, a hint, and the cause. [Error] is in error.go, and closest.go has the
// hint for a misspelt name.
//
// # Invariants
//
// The text of an error holds all that a reader needs, also what the cause says; the cause is kept
// for programs, which find it with [errors.Is] and [errors.As].
//
// A caller tells errors apart by sentinels ([Error.Kind]), or by a type that unwraps to an Error
// where the error has figures that a program uses.
package fault

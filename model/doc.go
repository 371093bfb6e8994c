// Package model holds the trained float network: its layers, its forward pass, and readers for the
// open file formats that training programs write.
//
// Matrices are row-major slices of float64; a matrix [Rows × Columns] times a vector of Columns
// values gives Rows values. Features enter the network normalised and outputs leave it raw: the
// package knows nothing of engineering units.
//
// Files come from outside and are not trusted: every length in them is checked against the bytes
// that are there before memory is asked for, and nothing in them is ever executed.
package model

// Package whole writes files and folders that appear whole or not at all,
// whatever stops the program: a full disk, a signal, a power cut.
//
// Everything goes into a draft beside its place first, is brought to the disk
// (fsync), and takes its place in one step. Two programs that write to one place
// do not mix: each has a draft of its own, and the last one wins. A draft is
// locked while its program lives; what a stopped program left behind is removed
// by the next one that writes to the same place.
//
// On Linux a folder takes the place of another one by renameat2 with
// RENAME_EXCHANGE: there is no moment without either. Elsewhere, and on file
// systems without it, two renames do it. Stopped between them, the place is empty
// and the former folder stands beside it; [Repair] puts it back, and so does the
// next [Folder].
//
// What it reads has an end: regular files only ([OpenRegular]).
package whole

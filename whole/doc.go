// Package whole writes files and folders that appear whole or not at all, whatever stops the
// program: a full disk, a signal, a power cut. It also reads files with a bound.
//
// [File] and [NewFile] write a file, [Folder] writes a folder of files. [OpenRegular],
// [ReadRegular] and [Read] read.
//
// Files, in the order in which to read them: draft.go (what is written before it takes its place),
// file.go, folder.go, exchange_linux.go and lock_unix.go (what the operating system gives),
// read.go.
//
// # Invariants
//
// All content goes into a draft beside its place first, is brought to the disk (fsync), and takes
// its place in one step. Two programs that write to one place do not mix: each has a draft of its
// own, and the last one wins. A draft is locked while its program lives; the next program that
// writes to the same place removes the drafts of stopped programs.
//
// On Linux a folder takes the place of another one by renameat2 with RENAME_EXCHANGE: there is no
// moment without a folder. Elsewhere, and on file systems without this call, two renames do it. If
// the program is stopped between them, the place is empty and the former folder stands beside it;
// [Repair] puts it back, and so does the next [Folder].
//
// [OpenRegular] and [ReadRegular] refuse devices and pipes, which may have no end; [Read] and
// [ReadRegular] read no more than their limit.
package whole

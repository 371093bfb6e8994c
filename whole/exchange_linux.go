package whole

import (
	"errors"
	"io/fs"

	"golang.org/x/sys/unix"
)

// exchange swaps two paths in one step. The error is errNoExchange where the kernel or the file
// system cannot.
func exchange(a, b string) error { return renameat2(a, b, unix.RENAME_EXCHANGE) }

// renameat2 is the system call with paths relative to the working folder.
func renameat2(from, to string, flags uint) error {
	err := unix.Renameat2(unix.AT_FDCWD, from, unix.AT_FDCWD, to, flags)
	switch {
	case err == nil:
		return nil
	case errors.Is(err, unix.ENOSYS), errors.Is(err, unix.EINVAL), errors.Is(err, unix.ENOTSUP):
		return errNoExchange
	}
	return &fs.PathError{Op: "rename", Path: to, Err: err}
}

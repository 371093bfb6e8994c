//go:build aix || darwin || dragonfly || freebsd || linux || netbsd || openbsd

package whole

import (
	"errors"
	"os"

	"golang.org/x/sys/unix"
)

// lock is held until it is released or its program ends, however the program ends.
type lock struct{ file *os.File }

// Errors of lockPath.
var (
	errLocked  = errors.New("it is locked by another program")
	errNoLocks = errors.New("the file system has no locks")
)

// lockPath locks a file or folder. The error is errLocked if another program holds the lock, and
// errNoLocks if the file system has none.
func lockPath(path string) (*lock, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	err = unix.Flock(int(f.Fd()), unix.LOCK_EX|unix.LOCK_NB)
	switch {
	case err == nil:
		return &lock{f}, nil
	case errors.Is(err, unix.EWOULDBLOCK):
		err = errLocked
	default:
		err = errNoLocks
	}
	f.Close()
	return nil, err
}

// release ends the lock; a nil lock is none.
func (l *lock) release() {
	if l != nil {
		l.file.Close()
	}
}

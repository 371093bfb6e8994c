//go:build !(aix || darwin || dragonfly || freebsd || linux || netbsd || openbsd)

package whole

import "errors"

// lock locks nothing on this operating system: drafts of stopped programs stay until somebody
// removes them.
type lock struct{}

// Errors of lockPath.
var (
	errLocked  = errors.New("it is locked by another program")
	errNoLocks = errors.New("the file system has no locks")
)

// lockPath returns errNoLocks.
func lockPath(string) (*lock, error) { return nil, errNoLocks }

// release does nothing.
func (l *lock) release() {}

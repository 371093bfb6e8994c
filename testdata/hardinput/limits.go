// Package hardinput checks what tests and fuzzing ask of every reader of files from outside: no
// panic, no hang, memory in proportion to the file, and errors that name the file.
package hardinput

import (
	"runtime"
	"strings"
	"time"
)

// Limits bounds the bytes that reading one file may allocate: PerByte for every byte of the file,
// and Spare. All allocations count, those that are free again included, so the memory in use at any
// moment is less.
type Limits struct {
	PerByte int64
	Spare   int64
}

// T is the part of [testing.T] that Check needs.
type T interface {
	Helper()
	Fatalf(format string, args ...any)
}

// longest bounds the time of one file. Our choice: far above the time that any reader needs for the
// small files of fuzzing, so that a busy machine is no failure.
const longest = 20 * time.Second

// Check runs read, which reads a file of size bytes. It fails the test if read takes more memory
// than the limits or too much time, or if its error does not begin with the name of the file.
func (l Limits) Check(t T, size int, name string, read func() error) {
	t.Helper()
	before, start := allocated(), time.Now()
	err := read()
	if took := time.Since(start); took > longest {
		t.Fatalf("took %v for %d bytes", took, size)
	}
	if bytes, most := allocated()-before, l.Spare+l.PerByte*int64(size); bytes > most {
		t.Fatalf("allocated %d bytes for a file of %d, at most %d may be", bytes, size, most)
	}
	if err != nil && !strings.HasPrefix(err.Error(), name) {
		t.Fatalf("error %q does not begin with the file's name %q", err, name)
	}
}

// allocated returns the bytes that were allocated so far. It is exact: unlike runtime/metrics,
// ReadMemStats counts the memory that the allocator's caches have given out since they were filled.
func allocated() int64 {
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	return int64(m.TotalAlloc)
}

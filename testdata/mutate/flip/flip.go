// Package flip holds the operations that the tree under test calls at the places where it has
// mutants (see testdata/mutate). Each operation computes what the source says, unless its mutant is
// the one that is switched on. So all mutants are compiled once, and a file chooses between them at
// run time.
package flip

import (
	"cmp"
	"encoding/json"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"sync"
)

// place is the folder with ActiveFile; the linker sets it.
var place string

// Names of the files in that folder.
const (
	ActiveFile  = "active.json" // a [Choice]
	ReachedFile = "reached"     // with Record: a line for every mutant and C file that ran
)

// Choice is the content of ActiveFile.
type Choice struct {
	Mutant int    // number of the mutant that is switched on; 0 for none
	Record bool   // write reached mutants and C files to ReachedFile
	C      *CEdit // for a mutant of the embedded C; else nil
}

// CEdit replaces a piece of an embedded C file.
type CEdit struct {
	File             string // as embedded: c/net.c
	Offset           int
	Old, Replacement string
}

var (
	choice  = read()
	active  = choice.Mutant
	record  = choice.Record
	mutex   sync.Mutex
	noticed = map[string]bool{}
)

func read() Choice {
	var c Choice
	text, err := os.ReadFile(filepath.Join(place, ActiveFile))
	if err != nil {
		return c
	}
	if err := json.Unmarshal(text, &c); err != nil {
		panic(err)
	}
	return c
}

// On reports whether a mutant is switched on.
func On(id int) bool {
	if record {
		notice(id)
	}
	return id == active
}

func notice(id int) {
	text, _ := json.Marshal(id)
	noticeLine(string(text))
}

func noticeLine(line string) {
	mutex.Lock()
	defer mutex.Unlock()
	if noticed[line] {
		return
	}
	noticed[line] = true
	f, err := os.OpenFile(filepath.Join(place, ReachedFile), os.O_APPEND|os.O_CREATE|os.O_WRONLY,
		0o644)
	if err != nil {
		panic(err)
	}
	defer f.Close()
	if _, err := f.WriteString(line + "\n"); err != nil {
		panic(err)
	}
}

// ReadFile reads an embedded file, with its mutant that is switched on, if any.
func ReadFile(files fs.FS, name string) ([]byte, error) {
	text, err := fs.ReadFile(files, name)
	if err != nil {
		return nil, err
	}
	if record {
		noticeLine(name)
	}
	if e := choice.C; e != nil && e.File == name {
		end := e.Offset + len(e.Old)
		text = []byte(string(text[:e.Offset]) + e.Replacement + string(text[end:]))
	}
	return text, nil
}

type integer interface {
	~int | ~int8 | ~int16 | ~int32 | ~int64 | ~uint | ~uint8 | ~uint16 | ~uint32 | ~uint64
}

type number interface {
	integer | ~float32 | ~float64
}

// Add is a + b, or a - b.
func Add[T number](id int, a, b T) T {
	if On(id) {
		return a - b
	}
	return a + b
}

// Sub is a - b, or a + b.
func Sub[T number](id int, a, b T) T {
	if On(id) {
		return a + b
	}
	return a - b
}

// Mul is a · b, or a / b.
func Mul[T number](id int, a, b T) T {
	if On(id) {
		return a / b
	}
	return a * b
}

// Quo is a / b, or a · b.
func Quo[T number](id int, a, b T) T {
	if On(id) {
		return a * b
	}
	return a / b
}

// Shl is a << n, or a >> n.
func Shl[T, N integer](id int, a T, n N) T {
	if On(id) {
		return a >> n
	}
	return a << n
}

// Shr is a >> n, or a << n.
func Shr[T, N integer](id int, a T, n N) T {
	if On(id) {
		return a << n
	}
	return a >> n
}

// ShlMore is a << n, or a << (n+1).
func ShlMore[T, N integer](id int, a T, n N) T {
	if On(id) {
		n++
	}
	return a << n
}

// ShrMore is a >> n, or a >> (n+1).
func ShrMore[T, N integer](id int, a T, n N) T {
	if On(id) {
		n++
	}
	return a >> n
}

// Less is a < b, or a <= b.
func Less[T cmp.Ordered](id int, a, b T) bool {
	if On(id) {
		return a <= b
	}
	return a < b
}

// AtMost is a <= b, or a < b.
func AtMost[T cmp.Ordered](id int, a, b T) bool {
	if On(id) {
		return a < b
	}
	return a <= b
}

// More is a > b, or a >= b.
func More[T cmp.Ordered](id int, a, b T) bool {
	if On(id) {
		return a >= b
	}
	return a > b
}

// AtLeast is a >= b, or a > b.
func AtLeast[T cmp.Ordered](id int, a, b T) bool {
	if On(id) {
		return a > b
	}
	return a >= b
}

// And is a && b, or a || b.
func And(id int, a bool, b func() bool) bool {
	if On(id) {
		return a || b()
	}
	return a && b()
}

// Or is a || b, or a && b.
func Or(id int, a bool, b func() bool) bool {
	if On(id) {
		return a && b()
	}
	return a || b()
}

// Max is the larger, or the smaller.
func Max[T cmp.Ordered](id int, a, b T) T {
	if On(id) {
		return min(a, b)
	}
	return max(a, b)
}

// Min is the smaller, or the larger.
func Min[T cmp.Ordered](id int, a, b T) T {
	if On(id) {
		return max(a, b)
	}
	return min(a, b)
}

// Round is [math.Round], or [math.Floor].
func Round(id int, v float64) float64 {
	if On(id) {
		return math.Floor(v)
	}
	return math.Round(v)
}

// Floor is [math.Floor], or [math.Ceil].
func Floor(id int, v float64) float64 {
	if On(id) {
		return math.Ceil(v)
	}
	return math.Floor(v)
}

// Ceil is [math.Ceil], or [math.Floor].
func Ceil(id int, v float64) float64 {
	if On(id) {
		return math.Floor(v)
	}
	return math.Ceil(v)
}

// Abs is [math.Abs], or v.
func Abs(id int, v float64) float64 {
	if On(id) {
		return v
	}
	return math.Abs(v)
}

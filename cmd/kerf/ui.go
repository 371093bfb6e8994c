package main

import (
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"time"

	"github.com/mattn/go-isatty"

	"kerf/budget"
	"kerf/exporter"
)

// ui owns everything that goes to stderr. Messages begin with "kerf:", are in
// lower case and end without a full stop; a hint says what to do next.
type ui struct {
	w        io.Writer
	terminal bool
	started  time.Time
	drawn    bool
}

func newUI(w io.Writer) *ui {
	file, ok := w.(*os.File)
	return &ui{w: w, terminal: ok && isatty.IsTerminal(file.Fd())}
}

// usageError is a mistake on the command line.
type usageError struct {
	msg, hint string
}

func (e *usageError) Error() string    { return e.msg }
func (e *usageError) HintText() string { return e.hint }

// fail prints an error and, where there is one, its hint.
func (u *ui) fail(err error) {
	u.endProgress()
	fmt.Fprintln(u.w, "kerf: error:", readable(err.Error()))
	var hinted interface{ HintText() string }
	if errors.As(err, &hinted) && hinted.HintText() != "" {
		lines := strings.Split(hinted.HintText(), "\n")
		for i, line := range lines {
			lines[i] = exporter.Visible(line)
		}
		fmt.Fprintln(u.w, "kerf: hint:", strings.Join(lines, "\n"))
	}
}

// bug reports a panic.
func (u *ui) bug(reason any, stack []byte) {
	u.endProgress()
	fmt.Fprintf(u.w, "kerf: bug: %v\nkerf: hint: this is a mistake in kerf; please report it with the lines below\n%s", reason, stack)
}

// progress draws how far a search is, on a terminal only.
func (u *ui) progress(what string) func(done, all int) {
	u.started = time.Now()
	return func(done, all int) { u.progressLine(done, all, what) }
}

func (u *ui) progressLine(done, all int, what string) {
	if !u.terminal || time.Since(u.started) < time.Second {
		return
	}
	left := time.Since(u.started) / time.Duration(done) * time.Duration(all-done)
	fmt.Fprintf(u.w, "\rkerf: %s %d of %d, about %s left \033[K", what, done, all, left.Round(time.Second))
	u.drawn = true
}

// training draws how far a training is, on a terminal only.
func (u *ui) training() budget.Progress {
	u.started = time.Now()
	before := 0
	return func(done, all int, loss float64) {
		if done < before {
			u.started = time.Now() // the next candidate
		}
		before = done
		u.progressLine(done, all, fmt.Sprintf("training, loss %.4g, epoch", loss))
	}
}

func (u *ui) endProgress() {
	if u.drawn {
		fmt.Fprint(u.w, "\r\033[K")
		u.drawn = false
	}
}

// longestMessage is some ten lines of a terminal.
const longestMessage = 800

// readable makes one line of a message, in which texts from files can stand. Of a long one both ends stay: place and reason.
func readable(text string) string {
	runes := []rune(exporter.Visible(strings.Join(strings.Fields(text), " ")))
	if len(runes) <= longestMessage {
		return string(runes)
	}
	const end = longestMessage / 4
	return string(runes[:longestMessage-end]) + " ... " + string(runes[len(runes)-end:])
}

package main

import (
	"fmt"
	"io"
	"os"
	"strings"
	"sync"
	"time"
	"unicode/utf8"

	"golang.org/x/term"

	"kerf/budget"
	"kerf/exporter/report"
	"kerf/fault"
)

// ui owns everything that goes to stderr. Messages begin with "kerf:", are in lower case and end
// without a full stop; a hint says what to do next. How far work is stands there on a terminal
// only, and is gone when the work is done.
type ui struct {
	w        io.Writer
	terminal bool
	width    int // columns of the terminal
	started  time.Time

	lock  sync.Mutex // of drawn and the line it is about
	drawn bool       // whether the terminal shows a line of progress
}

// newUI returns the ui for stderr.
func newUI(w io.Writer) *ui {
	file, ok := w.(*os.File)
	// a dumb terminal cannot clear a line
	isTerminal := ok && term.IsTerminal(int(file.Fd())) && os.Getenv("TERM") != "dumb"
	return &ui{w: w, terminal: isTerminal, width: newPage(w).width}
}

// fail prints an error and, where there is one, its hint.
func (u *ui) fail(err error) {
	u.endProgress()
	fmt.Fprintln(u.w, "kerf: error:", readable(err.Error()))
	if hint := fault.Hint(err); hint != "" {
		lines := strings.Split(hint, "\n")
		for i, line := range lines {
			lines[i] = report.Visible(line)
		}
		fmt.Fprintln(u.w, "kerf: hint:", strings.Join(lines, "\n"))
	}
}

// note prints what a reader should know before the result.
func (u *ui) note(text string) {
	u.endProgress()
	fmt.Fprintln(u.w, "kerf: note:", readable(text))
}

// bug reports a panic.
func (u *ui) bug(reason any, stack []byte) {
	u.endProgress()
	fmt.Fprintf(u.w, "kerf: bug: %v\nkerf: hint: this is a mistake in kerf; please report it "+
		"with the lines below\n%s", reason, stack)
}

// shownFrom is how long work takes before the terminal says how far it is. Our choice: a line that
// stands for less would only flicker.
const shownFrom = time.Second

// progress returns a function that draws how much of some work is done.
func (u *ui) progress(what string) func(done, all int) {
	u.started = time.Now()
	return func(done, all int) { u.progressLine(done, all, what) }
}

// progressLine draws how much is done, once the work takes long enough.
func (u *ui) progressLine(done, all int, what string) {
	past := time.Since(u.started)
	if !u.terminal || past < shownFrom || done < 1 {
		return
	}
	left := past / time.Duration(done) * time.Duration(all-done)
	u.draw(progressText(what, done, all, left, u.width))
}

// progressText returns a line with a bar between the name of the work and the time that is left.
// The bar is left out where the line has no room for it.
func progressText(what string, done, all int, left time.Duration, width int) string {
	front, back := "kerf: "+what+" ",
		fmt.Sprintf(" %d of %d, about %s left", done, all, left.Round(time.Second))
	if all < 1 {
		return front
	}
	room := min(width-1-utf8.RuneCountInString(front+back), widestBar+2) - 2
	if room < narrowestBar {
		return front + back[1:]
	}
	full := min(done, all) * room / all
	return front + "[" + strings.Repeat("#", full) + strings.Repeat(".", room-full) + "]" + back
}

// Columns of a bar. Our choice: a bar with fewer than narrowestBar says less than the numbers
// beside it.
const (
	widestBar    = 30
	narrowestBar = 8
)

// phase draws the name of some work and for how long it lasts, where nobody knows how long it
// takes. end ends the work.
func (u *ui) phase(what string) (end func()) {
	if !u.terminal {
		return func() {}
	}
	started, ended := time.Now(), make(chan struct{})
	var wait sync.WaitGroup
	wait.Go(func() {
		tick := time.NewTicker(shownFrom)
		defer tick.Stop()
		for {
			select {
			case <-ended:
				return
			case <-tick.C:
				u.draw(fmt.Sprintf("kerf: %s, %s so far", what,
					time.Since(started).Round(time.Second)))
			}
		}
	})
	return func() {
		close(ended)
		wait.Wait()
		u.endProgress()
	}
}

// training returns a function that draws how many epochs of a training are done.
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

// draw replaces the line of the terminal, cut to its width.
func (u *ui) draw(line string) {
	u.lock.Lock()
	defer u.lock.Unlock()
	if runes := []rune(line); len(runes) >= u.width {
		line = string(runes[:u.width-1])
	}
	fmt.Fprintf(u.w, "\r%s\x1b[K", line)
	u.drawn = true
}

// endProgress clears the line.
func (u *ui) endProgress() {
	u.lock.Lock()
	defer u.lock.Unlock()
	if u.drawn {
		fmt.Fprint(u.w, "\r\x1b[K")
		u.drawn = false
	}
}

// longestMessage is the longest message in characters. Our choice: some ten lines of a terminal.
const longestMessage = 800

// readable returns a message as one line without hidden characters, since texts from files stand in
// it. A long message keeps both ends: place and reason.
func readable(text string) string {
	runes := []rune(report.Visible(strings.Join(strings.Fields(text), " ")))
	if len(runes) <= longestMessage {
		return string(runes)
	}
	const end = longestMessage / 4
	return string(runes[:longestMessage-end]) + " ... " + string(runes[len(runes)-end:])
}

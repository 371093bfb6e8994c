package main

import (
	"fmt"
	"io"
	"os"
	"slices"
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

	lock  sync.Mutex    // of all that follows, and of the line of progress
	drawn bool          // whether the terminal shows that line
	works []*work       // each a part of the one before it
	stop  chan struct{} // ends the drawing of works
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
	text := "kerf: error: " + readable(err.Error()) + "\n"
	if hint := fault.Hint(err); hint != "" {
		lines := strings.Split(hint, "\n")
		for i, line := range lines {
			lines[i] = report.Visible(line)
		}
		text += "kerf: hint: " + strings.Join(lines, "\n") + "\n"
	}
	u.say(text)
}

// note prints what a reader should know before the result.
func (u *ui) note(text string) { u.say("kerf: note: " + readable(text) + "\n") }

// bug reports a panic.
func (u *ui) bug(reason any, stack []byte) {
	u.say(fmt.Sprintf("kerf: bug: %v\nkerf: hint: this is a mistake in kerf; please report it "+
		"with the lines below\n%s", reason, stack))
}

// say prints lines in the place of the line of progress.
func (u *ui) say(lines string) {
	u.lock.Lock()
	defer u.lock.Unlock()
	u.clear()
	io.WriteString(u.w, lines)
}

// clearing is stdout, which may be the terminal that shows the line of progress.
type clearing struct {
	io.Writer
	ui *ui
}

// Write implements [io.Writer].
func (c clearing) Write(p []byte) (int, error) {
	c.ui.lock.Lock()
	defer c.ui.lock.Unlock()
	c.ui.clear()
	return c.Writer.Write(p)
}

// drawEvery is how often the line of progress is drawn, and how long a verb runs before the first
// time. Our choice: a line that stands for less would only flicker.
const drawEvery = time.Second

// work is something that takes time, as the line of progress shows it.
type work struct {
	what      string
	began     time.Time
	done, all int       // pieces; none where nobody knows how many there are
	at        time.Time // when done got its value
}

// line returns what the terminal shows of some work: the time that is left where a piece is done
// and all are known, else the time that the work has taken.
func (w *work) line(now time.Time, width int) string {
	past := now.Sub(w.began).Round(time.Second)
	switch {
	case w.done < 1:
		return fmt.Sprintf("kerf: %s, %s so far", w.what, past)
	case w.all < 1:
		return fmt.Sprintf("kerf: %s, %d done, %s so far", w.what, w.done, past)
	}
	return progressText(w.what+",", w.done, w.all, w.left(now), width)
}

// left estimates the time that is left: the pieces that are left take as long as those before them.
// It falls while a piece is done, and no further than to the time of the pieces behind that one.
func (w *work) left(now time.Time) time.Duration {
	piece := w.at.Sub(w.began) / time.Duration(w.done)
	rest := time.Duration(w.all - w.done)
	return max(piece*rest-now.Sub(w.at), piece*(rest-1), 0)
}

// advance notes how many pieces are done. Fewer than before are those of a new piece of work.
func (w *work) advance(done, all int, now time.Time) {
	if done < w.done {
		w.began = w.at
	}
	if done != w.done {
		w.at = now
	}
	w.done, w.all = done, all
}

// phase shows the name of some work and for how long it lasts, where nobody knows how long it
// takes. end ends the work; what it is a part of is shown again.
func (u *ui) phase(what string) (end func()) {
	_, end = u.begin(what)
	return end
}

// progress is phase for work that says how much of it is done.
func (u *ui) progress(what string) (step func(done, all int), end func()) {
	w, end := u.begin(what)
	return func(done, all int) {
		u.lock.Lock()
		defer u.lock.Unlock()
		w.advance(done, all, time.Now())
	}, end
}

// count is progress for work of which nobody knows how much there is.
func (u *ui) count(what string) (step func(done int), end func()) {
	progress, end := u.progress(what)
	return func(done int) { progress(done, 0) }, end
}

// trainings is progress for the trainings of a search, which say what they look for, with a line
// above for every network that holds and costs less than those before it.
func (u *ui) trainings() (tell budget.TrainingProgress, end func()) {
	w, end := u.begin("training")
	tell.Epochs = func(what string, done, all int) {
		u.lock.Lock()
		defer u.lock.Unlock()
		w.what = what
		w.advance(done, all, time.Now())
	}
	if u.terminal {
		tell.Holds = func(h budget.Holding) { u.say("kerf: " + holdingText(h) + "\n") }
	}
	return tell, end
}

// holdingText returns what the terminal says of a network that holds.
func holdingText(h budget.Holding) string {
	text := fmt.Sprintf("so far %s units, %s, cost %s, may use %s of a tolerance",
		unitNumbers(h.Candidate), report.Plural(len(h.Candidate.Features), "feature"),
		report.Percent(h.Share), report.UsedPercent(report.Finite(h.Used)))
	if !h.Fixed {
		text += " before rounding"
	}
	return text
}

// begin adds a piece of work, which is shown until it ends or a part of it begins. end may be
// called again.
func (u *ui) begin(what string) (w *work, end func()) {
	now := time.Now()
	w = &work{what: what, began: now, at: now}
	if !u.terminal {
		return w, func() {}
	}
	u.lock.Lock()
	defer u.lock.Unlock()
	if u.works = append(u.works, w); len(u.works) == 1 {
		u.stop = make(chan struct{})
		go u.drawUntil(u.stop)
	}
	return w, func() {
		u.lock.Lock()
		defer u.lock.Unlock()
		i := slices.Index(u.works, w)
		if i < 0 {
			return // it has ended before
		}
		if u.works = slices.Delete(u.works, i, i+1); len(u.works) == 0 {
			close(u.stop)
		}
		u.clear()
	}
}

// drawUntil draws the line of progress again and again until stop is closed.
func (u *ui) drawUntil(stop chan struct{}) {
	tick := time.NewTicker(drawEvery)
	defer tick.Stop()
	for {
		select {
		case <-stop:
			return
		case now := <-tick.C:
			u.drawWork(now)
		}
	}
}

// drawWork draws the line of the work that began last.
func (u *ui) drawWork(now time.Time) {
	u.lock.Lock()
	defer u.lock.Unlock()
	if len(u.works) > 0 {
		u.draw(u.works[len(u.works)-1].line(now, u.width))
	}
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

// draw replaces the line of the terminal, cut to its width. It needs the lock.
func (u *ui) draw(line string) {
	if runes := []rune(line); len(runes) >= u.width {
		line = string(runes[:u.width-1])
	}
	fmt.Fprintf(u.w, "\r%s\x1b[K", line)
	u.drawn = true
}

// clear takes the line away. It needs the lock.
func (u *ui) clear() {
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

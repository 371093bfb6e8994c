package measure

import (
	"bufio"
	"bytes"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
)

// runEmulator runs the program in QEMU, which logs the instructions of each block when it
// translates the block, and the block each time before it executes it. It prices the instructions
// of every step and returns what the program wrote.
func (s *session) runEmulator(r *Result) (string, error) {
	code, err := s.disassemble()
	if err != nil {
		return "", err
	}
	entries := map[uint64]int{}
	for i, name := range s.entries {
		at, err := s.function(name)
		if err != nil {
			return "", err
		}
		entries[at.start] = i
	}
	caller, err := s.function("main")
	if err != nil {
		return "", err
	}
	read, write, err := os.Pipe()
	if err != nil {
		return "", err
	}
	defer read.Close()
	// The log comes through the pipe that the child has as descriptor 3.
	args := append(s.emulator[1:len(s.emulator):len(s.emulator)],
		"-display", "none", "-monitor", "none", "-d", "in_asm,exec,nochain",
		"-D", "/dev/fd/3", "-kernel", filepath.Join(s.dir, runImage))
	cmd := exec.CommandContext(s.ctx, s.emulator[0], args...)
	cmd.ExtraFiles = []*os.File{write}
	var output bytes.Buffer
	cmd.Stdout, cmd.Stderr = &output, &output
	err = cmd.Start()
	write.Close()
	if err != nil {
		return "", err
	}
	w := &watcher{code: code, cost: newCost(s.profile), entries: entries, caller: caller,
		functions: r.Functions}
	if err := w.readLog(read); err != nil {
		cmd.Process.Kill() // it may wait for a reader; the first error is the one to report
		cmd.Wait()
		return "", err
	}
	if err := cmd.Wait(); err != nil {
		return "", newCommandError(s.ctx, s.emulator[0], "run the program to its end",
			err.Error()+": "+tail(output.String()), err)
	}
	r.Counts = map[string]float64{}
	for _, c := range w.calls {
		r.take(c)
		for class, n := range c.Counts {
			r.Counts[class] += n
		}
		for name, f := range c.functions {
			r.Functions[name].Cycles += f.Cycles
			for class, n := range f.Counts {
				if r.Functions[name].Counts == nil {
					r.Functions[name].Counts = map[string]float64{}
				}
				r.Functions[name].Counts[class] += n
			}
		}
	}
	for class := range r.Counts {
		r.Counts[class] /= float64(len(w.calls))
	}
	for _, f := range r.Functions {
		f.Cycles /= float64(len(w.calls))
		for class := range f.Counts {
			f.Counts[class] /= float64(len(w.calls))
		}
	}
	return output.String(), nil
}

// watcher follows the executed instructions and prices those of a step: from its first instruction
// until control is back in the caller.
type watcher struct {
	code    *listing
	cost    *cost
	entries map[uint64]int // number of a function in session.entries by its first address
	caller  span           // function main, which calls these

	isInside bool // one of these is running
	// last is the latest executed instruction, which has no price yet: the next address shows
	// whether it jumped. before is the one executed before it; nil at the start of a step.
	before, last *instruction
	calls        []call

	functions map[string]*Function // functions that are counted by themselves, by name
	// running is the one among them whose instructions were executed last; empty at the start of a
	// step.
	running string
}

// readLog reads QEMU's log to its end. QEMU writes a line "0x0000012c: 4770 bx lr" for each
// instruction of a block that it translates, and then, as each time that the block is executed, a
// line "Trace 0: 0x7f.. [00000000/0000012c/..../....] name" with the place of the translation. A
// line "Stopped execution of TB chain before 0x7f.. [0000012c] name" says that the block logged
// last was not executed; QEMU logs it again.
func (w *watcher) readLog(log io.Reader) error {
	lines := bufio.NewReaderSize(log, 1<<20)
	blocks := map[string][]uint64{} // addresses of the instructions, by place of the translation
	var translated, pending []uint64
	for {
		line, err := lines.ReadSlice('\n')
		if err == io.EOF {
			break
		}
		if err != nil {
			return err
		}
		switch {
		case bytes.HasPrefix(line, []byte("IN:")):
			translated = nil
		case bytes.HasPrefix(line, []byte("0x")):
			address, err := translatedAddress(line)
			if err != nil {
				return err
			}
			translated = append(translated, address)
		case bytes.HasPrefix(line, []byte("OBJD")):
			return withoutDisassembler()
		case bytes.HasPrefix(line, []byte("Stopped execution")):
			pending = nil
		case bytes.HasPrefix(line, []byte("Trace")):
			if err := w.executeAll(pending); err != nil {
				return err
			}
			place, ok := translationPlace(line)
			if translated != nil {
				blocks[string(place)], translated = translated, nil
			}
			if pending = blocks[string(place)]; !ok || pending == nil {
				return unexpectedLine(line)
			}
		}
	}
	return w.executeAll(pending)
}

// translatedAddress reads the address of a line with a translated instruction.
func translatedAddress(line []byte) (uint64, error) {
	digits, _, ok := bytes.Cut(line[len("0x"):], []byte(":"))
	address, err := strconv.ParseUint(string(digits), 16, 64)
	if !ok || err != nil {
		return 0, unexpectedLine(line)
	}
	return address, nil
}

// translationPlace returns the place of a block in a line "Trace" of QEMU's log.
func translationPlace(line []byte) (place []byte, ok bool) {
	_, rest, _ := bytes.Cut(line, []byte(": "))
	place, _, ok = bytes.Cut(rest, []byte(" ["))
	return place, ok
}

// unexpectedLine returns the error of a line of the log that is not as readLog knows it.
func unexpectedLine(line []byte) error {
	return fmt.Errorf("unexpected line in the log of QEMU: %q", line)
}

// executeAll takes note of the instructions of a block in their order.
func (w *watcher) executeAll(block []uint64) error {
	for _, pc := range block {
		if err := w.execute(pc); err != nil {
			return err
		}
	}
	return nil
}

// execute takes note of the instruction at pc, the next one that was executed.
func (w *watcher) execute(pc uint64) error {
	if w.isInside {
		if err := w.price(pc); err != nil {
			return err
		}
		w.before = w.last
		if w.caller.start <= pc && pc < w.caller.end {
			w.isInside = false
			return nil
		}
	} else if entry, ok := w.entries[pc]; ok {
		w.isInside = true
		w.before, w.running = nil, ""
		w.calls = append(w.calls, call{entry: entry})
	} else {
		return nil
	}
	at, ok := w.code.at[pc]
	if !ok {
		return fmt.Errorf("the program executed address %#x, which the disassembly does not have",
			pc)
	}
	w.last = at
	if name := withoutClone(at.function); w.functions[name] != nil {
		w.running = name
	}
	return nil
}

// price adds the price of the last executed instruction to the step; next is the address that was
// executed after it.
func (w *watcher) price(next uint64) error {
	p, err := w.cost.of(w.before, w.last, next != w.last.next)
	if err != nil {
		return err
	}
	c := &w.calls[len(w.calls)-1]
	c.add(p.cycles, p.spent)
	c.instructions++
	if w.running != "" {
		c.function(w.running).add(p.cycles, p.spent)
	}
	return nil
}

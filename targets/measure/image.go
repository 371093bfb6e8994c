package measure

import (
	"debug/elf"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strings"
)

// sizes are the bytes that an image takes of flash and RAM.
type sizes struct {
	flash int64 // code, constants and the initial values of data
	ram   int64 // data, with initial values or without
}

// imageSizes adds up the sections of a program. A section that is both stored and written at run
// time is data with initial values: it takes flash and RAM.
func imageSizes(path string) (sizes, error) {
	f, err := elf.Open(path)
	if err != nil {
		return sizes{}, err
	}
	defer f.Close()
	var sum sizes
	for _, s := range f.Sections {
		if s.Flags&elf.SHF_ALLOC == 0 {
			continue
		}
		isStored := s.Type != elf.SHT_NOBITS
		isWritten := s.Flags&elf.SHF_WRITE != 0
		if isStored {
			sum.flash += int64(s.Size)
		}
		if isWritten || !isStored {
			sum.ram += int64(s.Size)
		}
	}
	return sum, nil
}

// constantBytes adds up the sections of an object that hold constants: weights, tables, strings.
func constantBytes(path string) (int64, error) {
	f, err := elf.Open(path)
	if err != nil {
		return 0, err
	}
	defer f.Close()
	var sum int64
	for _, s := range f.Sections {
		for _, prefix := range []string{".rodata", ".srodata", ".progmem"} {
			if strings.HasPrefix(s.Name, prefix) && s.Flags&elf.SHF_ALLOC != 0 {
				sum += int64(s.Size)
			}
		}
	}
	return sum, nil
}

// span holds the address of a function and the address behind its last byte.
type span struct{ start, end uint64 }

// functionsOf finds the functions of a program whose names match a pattern. On Arm bit 0 of a
// symbol marks Thumb code and is no part of the address.
func functionsOf(path string, pattern *regexp.Regexp) (map[string]span, error) {
	f, err := elf.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	symbols, err := f.Symbols()
	if err != nil {
		return nil, err
	}
	found := map[string]span{}
	for _, symbol := range symbols {
		if elf.ST_TYPE(symbol.Info) != elf.STT_FUNC ||
			!pattern.MatchString(withoutClone(symbol.Name)) {
			continue
		}
		start := symbol.Value
		if f.Machine == elf.EM_ARM {
			start &^= 1
		}
		found[withoutClone(symbol.Name)] = span{start, start + symbol.Size}
	}
	return found, nil
}

// function finds a function of the program that runs steps.
func (s *session) function(name string) (span, error) {
	found, err := functionsOf(filepath.Join(s.dir, runImage),
		regexp.MustCompile("^"+regexp.QuoteMeta(name)+"$"))
	if err != nil {
		return span{}, err
	}
	at, ok := found[name]
	if !ok {
		return span{}, fmt.Errorf("%s.c does not define the function %s", s.name, name)
	}
	return at, nil
}

// flatten writes the stored bytes of the program that runs steps, as one block from address 0 on,
// and returns the name of the file.
func (s *session) flatten() (string, error) {
	f, err := elf.Open(filepath.Join(s.dir, runImage))
	if err != nil {
		return "", err
	}
	defer f.Close()
	var flat []byte
	for _, p := range f.Progs {
		if p.Type != elf.PT_LOAD || p.Filesz == 0 {
			continue
		}
		if need := int(p.Paddr + p.Filesz); need > len(flat) {
			flat = append(flat, make([]byte, need-len(flat))...)
		}
		if _, err := p.ReadAt(flat[p.Paddr:p.Paddr+p.Filesz], 0); err != nil {
			return "", err
		}
	}
	const name = "run.bin"
	return name, os.WriteFile(filepath.Join(s.dir, name), flat, 0o644)
}

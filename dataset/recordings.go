package dataset

import (
	"crypto/sha256"
	"encoding/binary"
	"io"
	"math"
	"strconv"
)

// Sequence is one uninterrupted run; the state of a network is reset at its start.
type Sequence struct {
	Name     string
	Scenario string
	File     string
	Line     int       // line of its first step
	Steps    int       // number of time steps
	X        []float64 // features, Steps × features, physical units
	Y        []float64 // reference outputs, Steps × outputs, physical units
}

// Recordings are the sequences of one or several files.
type Recordings struct {
	Features  int // columns of Sequence.X
	Outputs   int // columns of Sequence.Y
	Sequences []*Sequence
}

// Steps is the number of time steps of all sequences.
func (r *Recordings) Steps() int {
	n := 0
	for _, s := range r.Sequences {
		n += s.Steps
	}
	return n
}

// Scenarios lists the scenarios in the order of their first sequence.
func (r *Recordings) Scenarios() []string {
	var names []string
	seen := map[string]bool{}
	for _, s := range r.Sequences {
		if !seen[s.Scenario] {
			seen[s.Scenario] = true
			names = append(names, s.Scenario)
		}
	}
	return names
}

// ReadCSV reads one recording: columns sequence, scenario, t, then features and
// outputs by name in any order; other columns are ignored. Steps of a sequence
// stand together, t grows within it, and every cell that is used is a finite
// number.
func ReadCSV(r io.Reader, file string, features, outputs []string) (*Recordings, error) {
	t, err := OpenTable(r, file)
	if err != nil {
		return nil, err
	}
	t.GapHint = "remove the step and start a new sequence after it, or fill the gap before kerf reads it"
	keys, err := t.NeedAll("a recording has the columns sequence, scenario and t, then one per feature and output", "sequence", "scenario", "t")
	if err != nil {
		return nil, err
	}
	x, err := t.NeedAll("features.csv declares this feature; the recording must carry it under the same name", features...)
	if err != nil {
		return nil, err
	}
	y, err := t.NeedAll("outputs.csv declares this output; the recording must carry its reference values under the same name", outputs...)
	if err != nil {
		return nil, err
	}
	rec := &Recordings{Features: len(features), Outputs: len(outputs)}
	seen := map[string]int{}
	var current *Sequence
	var last float64
	for {
		ok, err := t.Next()
		if err != nil {
			return nil, err
		}
		if !ok {
			break
		}
		name, scenario := t.Text(keys[0]), t.Text(keys[1])
		now, err := t.Number(keys[2])
		if err != nil {
			return nil, err
		}
		if current == nil || name != current.Name {
			if current, err = t.begin(rec, seen, keys, name, scenario); err != nil {
				return nil, err
			}
		} else {
			if scenario != current.Scenario {
				return nil, t.Fail(keys[1], "the scenario changes from "+current.Scenario+" to "+scenario+" inside sequence "+name, "give the part behind the change a sequence name of its own")
			}
			if now <= last {
				return nil, t.Fail(keys[2], "time does not grow: "+t.Text(keys[2])+" follows "+strconv.FormatFloat(last, 'g', -1, 64)+" in sequence "+name, "sort the steps, or start a new sequence where the recording was interrupted")
			}
		}
		last = now
		if current.X, err = t.numbers(current.X, x); err != nil {
			return nil, err
		}
		if current.Y, err = t.numbers(current.Y, y); err != nil {
			return nil, err
		}
		current.Steps++
	}
	if len(rec.Sequences) == 0 {
		return nil, &InputError{File: file, Msg: "the recording holds no complete sequence", Hint: "it needs at least one step below the header line"}
	}
	return rec, nil
}

// begin starts the sequence that the present row opens.
func (t *Table) begin(rec *Recordings, seen map[string]int, keys []int, name, scenario string) (*Sequence, error) {
	if name == "" {
		return nil, t.Fail(keys[0], "the sequence name is empty", "number the sequences, for example 0, 1, 2")
	}
	if scenario == "" {
		return nil, t.Fail(keys[1], "the scenario is empty", "name the operating profile of the sequence; use one name for all if there is only one")
	}
	if scenario == "all" {
		return nil, t.Fail(keys[1], `"all" cannot name a scenario`, `"all" stands for all scenarios together; choose another name`)
	}
	if line, twice := seen[name]; twice {
		return nil, t.Fail(keys[0], "sequence "+name+" was already seen at line "+strconv.Itoa(line), "steps of a sequence must stand together; give each uninterrupted run a name of its own")
	}
	seen[name] = t.Line
	s := &Sequence{Name: name, Scenario: scenario, File: t.file, Line: t.Line}
	rec.Sequences = append(rec.Sequences, s)
	return s, nil
}

func (t *Table) numbers(dst []float64, columns []int) ([]float64, error) {
	for _, c := range columns {
		v, err := t.Number(c)
		if err != nil {
			return nil, err
		}
		dst = append(dst, v)
	}
	return dst, nil
}

// Join puts the sequences of several recordings behind each other. All must
// have the same columns.
func Join(parts ...*Recordings) *Recordings {
	all := &Recordings{Features: parts[0].Features, Outputs: parts[0].Outputs}
	for _, p := range parts {
		if p.Features != all.Features || p.Outputs != all.Outputs {
			panic("dataset: Join of recordings with different columns")
		}
		all.Sequences = append(all.Sequences, p.Sequences...)
	}
	return all
}

// Shared returns the sequences of b whose features are also a sequence of a,
// value for value, whatever their names.
func Shared(a, b *Recordings) []*Sequence {
	known := map[[sha256.Size]byte]bool{}
	for _, s := range a.Sequences {
		known[s.fingerprint()] = true
	}
	var shared []*Sequence
	for _, s := range b.Sequences {
		if known[s.fingerprint()] {
			shared = append(shared, s)
		}
	}
	return shared
}

func (s *Sequence) fingerprint() [sha256.Size]byte {
	hash := sha256.New()
	var word [8]byte
	for _, v := range s.X {
		binary.LittleEndian.PutUint64(word[:], math.Float64bits(v))
		hash.Write(word[:])
	}
	return [sha256.Size]byte(hash.Sum(nil))
}

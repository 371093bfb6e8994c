package dataset

import (
	"crypto/sha256"
	"encoding/binary"
	"io"
	"math"
	"slices"
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
	Features  int  // columns of Sequence.X
	Outputs   int  // columns of Sequence.Y
	Classes   bool // Y is 1 for the class of the step and 0 for all others
	Sequences []*Sequence
}

// Reference says which columns of a recording hold what a network should give:
// one per output, or for a classifier one with the name or index of the class.
type Reference struct {
	Outputs []string // output names; for a classifier its classes
	Column  string   // of the class; empty for a regression

	Optional bool // a recording without any of the columns has sequences without Y
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
func ReadCSV(r io.Reader, file string, features []string, reference Reference) (*Recordings, error) {
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
	y, err := reference.columns(t)
	if err != nil {
		return nil, err
	}
	rec := &Recordings{Features: len(features), Outputs: len(reference.Outputs), Classes: reference.Column != ""}
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
		if current.Y, err = reference.read(t, current.Y, y); err != nil {
			return nil, err
		}
		current.Steps++
	}
	if len(rec.Sequences) == 0 {
		return nil, &InputError{File: file, Msg: "the recording holds no complete sequence", Hint: "it needs at least one step below the header line"}
	}
	return rec, nil
}

// columns finds the reference columns.
func (r Reference) columns(t *Table) ([]int, error) {
	if r.Optional && !r.anyIn(t) {
		return nil, nil
	}
	if r.Column != "" {
		return t.NeedAll("the job names it as the column of the class", r.Column)
	}
	return t.NeedAll("outputs.csv declares this output; the recording must carry its reference values under the same name", r.Outputs...)
}

// anyIn tells whether a table has any of the columns.
func (r Reference) anyIn(t *Table) bool {
	columns := r.Outputs
	if r.Column != "" {
		columns = []string{r.Column}
	}
	return slices.ContainsFunc(columns, func(name string) bool { _, has := t.Has(name); return has })
}

// read appends the reference values of the present row.
func (r Reference) read(t *Table, dst []float64, columns []int) ([]float64, error) {
	if r.Column == "" || len(columns) == 0 {
		return t.numbers(dst, columns)
	}
	text := t.Text(columns[0])
	class := slices.Index(r.Outputs, text)
	if class < 0 {
		var err error
		if class, err = strconv.Atoi(text); err != nil || class < 0 || class >= len(r.Outputs) {
			return nil, t.Fail(columns[0], strconv.Quote(text)+" is no class", "write the name of a class of the job, or its index from 0")
		}
	}
	for c := range r.Outputs {
		v := 0.0
		if c == class {
			v = 1
		}
		dst = append(dst, v)
	}
	return dst, nil
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
	all := &Recordings{Features: parts[0].Features, Outputs: parts[0].Outputs, Classes: parts[0].Classes}
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

// Unique drops sequences that repeat an earlier one, value for value, and says
// how many: a repeated sequence is no further evidence.
func Unique(rec *Recordings) (unique *Recordings, dropped int) {
	unique = &Recordings{Features: rec.Features, Outputs: rec.Outputs, Classes: rec.Classes}
	known := map[[sha256.Size]byte]bool{}
	for _, s := range rec.Sequences {
		if print := s.fingerprint(); !known[print] {
			known[print] = true
			unique.Sequences = append(unique.Sequences, s)
		}
	}
	return unique, len(rec.Sequences) - len(unique.Sequences)
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

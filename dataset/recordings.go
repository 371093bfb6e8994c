package dataset

import (
	"io"
	"slices"
	"strconv"
	"strings"

	"kerf/fault"
)

// Sequence is one uninterrupted run; the state of a network is reset at its start.
type Sequence struct {
	Name     string    // unique within its file
	Scenario string    // operating profile
	File     string    // name of the recording it was read from
	Line     int       // of its first step in the file
	Steps    int       // number of time steps
	Settle   int       // first steps whose errors count nowhere; the network runs through them
	Start    float64   // t of the first step, in the unit of the recording
	Duration float64   // t of the last step less t of the first, in the unit of the recording
	X        []float64 // features [Steps × features], in physical units
	Y        []float64 // reference outputs [Steps × outputs], in physical units
	Sampled  *Sampled  // nil: the sequence has no samples
}

// Sampled is what a front end in integers makes of the samples of a sequence, see package frontend.
type Sampled struct {
	Numbers []int32   // whole numbers that computed features are made of [Steps × such features]
	X       []float64 // features as [Sequence.X], the computed ones as these numbers have them
}

// Part returns the steps of a sequence from first to the one before last. Errors of all of them
// count.
func (s *Sequence) Part(first, last int) *Sequence {
	part := *s
	part.Steps, part.Settle = last-first, 0
	of := func(values []float64) []float64 {
		n := len(values) / s.Steps
		return values[first*n : last*n]
	}
	part.X, part.Y = of(s.X), of(s.Y)
	if s.Sampled != nil {
		n := len(s.Sampled.Numbers) / s.Steps
		part.Sampled = &Sampled{s.Sampled.Numbers[first*n : last*n], of(s.Sampled.X)}
	}
	return &part
}

// Recordings are the sequences of one or several files.
type Recordings struct {
	Features  int  // columns of Sequence.X
	Outputs   int  // columns of Sequence.Y
	Classes   bool // Y is 1 for the class of the step and 0 for all others
	Sequences []*Sequence

	// Memory is how many time steps the network remembers, see [Float.Memory], or 0 where that is
	// not known. Where it is known, scores keep errors in pieces of sequences, with which [Compare]
	// judges few long sequences by blocks of steps.
	Memory int
}

// Reference names the columns of a recording that hold the reference values: one per output, or for
// a classifier one with the name or index of the class.
type Reference struct {
	Outputs []string // names of the outputs; for a classifier of its classes
	Column  string   // of the class; empty for a regression

	// Optional allows recordings without any of the columns; their sequences have no Y.
	Optional bool
}

// AsSampled returns the recordings with the features that a device computes in place of those that
// were recorded, wherever a sequence has samples. Without any samples it returns r itself.
func (r *Recordings) AsSampled() *Recordings {
	sampled := *r
	sampled.Sequences = nil
	for _, s := range r.Sequences {
		if s.Sampled != nil {
			of := *s
			of.X = s.Sampled.X
			s = &of
		}
		sampled.Sequences = append(sampled.Sequences, s)
	}
	if slices.Equal(sampled.Sequences, r.Sequences) {
		return r
	}
	return &sampled
}

// Steps returns the number of time steps of all sequences.
func (r *Recordings) Steps() int {
	n := 0
	for _, s := range r.Sequences {
		n += s.Steps
	}
	return n
}

// Judged returns the number of time steps whose errors count, which leaves out the first
// [Sequence.Settle] steps of each sequence.
func (r *Recordings) Judged() int {
	n := 0
	for _, s := range r.Sequences {
		n += max(0, s.Steps-s.Settle)
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

// ReadCSV reads one recording in CSV: the columns sequence, scenario and t, then features and
// outputs by name, in any order; other columns are ignored. Steps of a sequence stand together, t
// grows within it, and every cell that is used is a finite number. Other content gives an
// error of kind [ErrInput].
func ReadCSV(r io.Reader, file string, features []string,
	reference Reference) (*Recordings, error) {
	t, err := openCSV(r, file)
	if err != nil {
		return nil, err
	}
	return readRows(t, file, features, reference)
}

func openCSV(r io.Reader, file string) (rows, error) {
	t, err := OpenTable(r, file)
	if err != nil {
		return nil, err
	}
	t.GapHint = gapHint
	return t, nil
}

// gapHint is the advice for a missing value.
const gapHint = "remove the step and start a new sequence after it, or fill the gap before kerf " +
	"reads it"

// rows is a recording of any format that is read step by step.
type rows interface {
	NeedAll(why string, names ...string) ([]int, error) // indices of columns
	HasColumn(name string) bool
	Columns() []string // all, in the order of the file
	Next() (bool, error)
	Row() int // line of the present step in a text file, number of the step in others
	Text(column int) string
	Number(column int) (float64, error)
	Fail(column int, msg, hint string) error
}

// reader collects the sequences of one recording.
type reader struct {
	rows
	file      string
	reference Reference
	rec       *Recordings
	seen      map[string]int // first row of every sequence, by name
	keys      []int          // columns sequence, scenario, t
	x, y      []int          // columns of features and reference values
	current   *Sequence
	start     float64 // t of the first step of the current sequence
	last      float64 // t of the last step that was read
	// values of the current sequence; reused, so that X and Y are copies of the exact size
	bufferX, bufferY []float64
}

// readRows reads all steps of a recording into sequences.
func readRows(t rows, file string, features []string, reference Reference) (*Recordings, error) {
	r := &reader{rows: t, file: file, reference: reference, seen: map[string]int{}}
	r.rec = &Recordings{Features: len(features), Outputs: len(reference.Outputs),
		Classes: reference.Column != ""}
	var err error
	if r.keys, err = t.NeedAll("a recording has the columns sequence, scenario and t, then one "+
		"per feature and output", "sequence", "scenario", "t"); err != nil {
		return nil, err
	}
	if r.x, err = t.NeedAll("features.csv declares this feature; the recording must carry it "+
		"under the same name", features...); err != nil {
		return nil, err
	}
	if r.y, err = reference.columns(t); err != nil {
		return nil, err
	}
	for {
		ok, err := t.Next()
		if err != nil {
			return nil, err
		}
		if !ok {
			break
		}
		if err := r.step(); err != nil {
			return nil, err
		}
	}
	r.end()
	if len(r.rec.Sequences) == 0 {
		return nil, &fault.Error{Kind: ErrInput, File: file,
			Msg:  "the recording holds no complete sequence",
			Hint: "it needs at least one step below the header line"}
	}
	return r.rec, nil
}

// step adds the present row to the current sequence, or begins a new one.
func (r *reader) step() error {
	name, scenario := r.Text(r.keys[0]), r.Text(r.keys[1])
	now, err := r.Number(r.keys[2])
	if err != nil {
		return err
	}
	if r.current == nil || name != r.current.Name {
		if err := r.begin(name, scenario); err != nil {
			return err
		}
		r.start = now
	} else {
		if scenario != r.current.Scenario {
			return r.Fail(r.keys[1],
				"the scenario changes from "+r.current.Scenario+" to "+scenario+
					" inside sequence "+name,
				"give the part behind the change a sequence name of its own")
		}
		if now <= r.last {
			return r.Fail(r.keys[2],
				"time does not grow: "+r.Text(r.keys[2])+" follows "+strconv.FormatFloat(r.last,
					'g', -1, 64)+" in sequence "+name, "sort the steps, or start a new sequence "+
					"where the recording was interrupted")
		}
	}
	r.last = now
	if r.bufferX, err = numbers(r, r.bufferX, r.x); err != nil {
		return err
	}
	if r.bufferY, err = r.reference.read(r, r.bufferY, r.y); err != nil {
		return err
	}
	r.current.Steps++
	return nil
}

// begin starts the sequence that the present row opens.
func (r *reader) begin(name, scenario string) error {
	if name == "" {
		return r.Fail(r.keys[0], "the sequence name is empty",
			"number the sequences, for example 0, 1, 2")
	}
	if scenario == "" {
		return r.Fail(r.keys[1], "the scenario is empty", "name the operating profile of the "+
			"sequence; use one name for all if there is only one")
	}
	if scenario == forAll {
		return r.Fail(r.keys[1], `"all" cannot name a scenario`,
			`"all" stands for all scenarios together; choose another name`)
	}
	for i, text := range []string{name, scenario} {
		if fault := NameFault(text); fault != "" {
			return r.Fail(r.keys[i], fault, nameHint)
		}
	}
	name, err := begins(r, r.keys[0], name, r.seen, "steps of a sequence must stand together; "+
		"give each uninterrupted run a name of its own")
	if err != nil {
		return err
	}
	r.end()
	scenario = strings.Clone(scenario) // the row is not kept in memory
	r.current = &Sequence{Name: name, Scenario: scenario, File: r.file, Line: r.Row()}
	r.rec.Sequences = append(r.rec.Sequences, r.current)
	return nil
}

// begins notes that a sequence begins at the present row, and returns its name, which is kept. A
// name that was seen before is an error with the hint.
func begins(t rows, column int, name string, seen map[string]int, hint string) (string, error) {
	if line, twice := seen[name]; twice {
		return "", t.Fail(column, "sequence "+name+" was already seen at line "+strconv.Itoa(line),
			hint)
	}
	name = strings.Clone(name) // the row is not kept in memory
	seen[name] = t.Row()
	return name, nil
}

// end gives the current sequence, if there is one, its values and duration.
func (r *reader) end() {
	if r.current != nil {
		r.current.X, r.current.Y = slices.Clone(r.bufferX), slices.Clone(r.bufferY)
		r.current.Start, r.current.Duration = r.start, r.last-r.start
	}
	r.bufferX, r.bufferY = r.bufferX[:0], r.bufferY[:0]
}

// columns returns the indices of the reference columns, or nil where they are optional and missing.
func (r Reference) columns(t rows) ([]int, error) {
	if r.Optional && !r.anyIn(t) {
		return nil, nil
	}
	if r.Column != "" {
		return t.NeedAll("the job names it as the column of the class", r.Column)
	}
	return t.NeedAll("outputs.csv declares this output; the recording must carry its reference "+
		"values under the same name", r.Outputs...)
}

// anyIn reports whether a recording has any of the columns.
func (r Reference) anyIn(t rows) bool {
	columns := r.Outputs
	if r.Column != "" {
		columns = []string{r.Column}
	}
	return slices.ContainsFunc(columns, t.HasColumn)
}

// read appends the reference values of the present row.
func (r Reference) read(t rows, dst []float64, columns []int) ([]float64, error) {
	if r.Column == "" || len(columns) == 0 {
		return numbers(t, dst, columns)
	}
	text := t.Text(columns[0])
	class := slices.Index(r.Outputs, text)
	if class < 0 {
		var err error
		if class, err = strconv.Atoi(text); err != nil || class < 0 || class >= len(r.Outputs) {
			return nil, t.Fail(columns[0], quoted(text)+" is no class",
				fault.DidYouMeanOr(text, r.Outputs,
					"write the name of a class of the job, or its index from 0"))
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

// numbers appends the values of columns in the present row.
func numbers(t rows, dst []float64, columns []int) ([]float64, error) {
	for _, c := range columns {
		v, err := t.Number(c)
		if err != nil {
			return nil, err
		}
		dst = append(dst, v)
	}
	return dst, nil
}

// Join returns the sequences of several recordings, one recording behind the other. It panics if
// they differ in their columns.
func Join(parts ...*Recordings) *Recordings {
	all := &Recordings{Features: parts[0].Features, Outputs: parts[0].Outputs,
		Classes: parts[0].Classes}
	for _, p := range parts {
		if p.Features != all.Features || p.Outputs != all.Outputs {
			panic("dataset: Join of recordings with different columns")
		}
		all.Sequences = append(all.Sequences, p.Sequences...)
	}
	return all
}

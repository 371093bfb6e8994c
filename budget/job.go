package budget

import (
	"fmt"
	"io"
	"path/filepath"
	"sort"
	"strings"
	"unicode"
	"unicode/utf8"

	"kerf/dataset"
	"kerf/targets"
	"kerf/whole"
)

// Job is the job file as written. Paths in it are relative to its folder.
type Job struct {
	Name       string               `toml:"name"`
	Model      ModelFile            `toml:"model"`
	Recordings RecordingFiles       `toml:"recordings"`
	Features   FeatureRule          `toml:"features"`
	Units      UnitRule             `toml:"units"`
	Outputs    OutputRule           `toml:"outputs"`
	Scores     TableFile            `toml:"scores"`
	FrontEnds  []FrontEnd           `toml:"front_end"`
	Regions    []RegionRule         `toml:"region"`
	Tolerances map[string]Tolerance `toml:"tolerance"` // by output
	Targets    []TargetRule         `toml:"target"`
	Formats    FormatRule           `toml:"formats"`
	Search     SearchRule           `toml:"search"`
	Recovery   *RecoveryRule        `toml:"recovery"` // nil: no recovery training
	File       string               `toml:"-"`        // as the user gave it
	data       []byte               // the text, for the place of an error
}

// ModelFile names the network.
type ModelFile struct {
	File       string `toml:"file"`
	Convention string `toml:"convention"` // of names and layout: "torch" or "keras"; empty for ONNX
	// Layers says what the file does not: order, cells, activations. Empty: inferred.
	Layers []LayerRule `toml:"layer"`
	// Checked says why a finding against the network as given is none, so that the verdict may
	// stand.
	Checked Checked `toml:"checked"`
	// Others are trained networks of another size that kerf units compares.
	Others []OtherModel `toml:"other"`
}

// OtherModel names another network for the same features and outputs. Without a
// convention it has that of the network of the job if its file is of the same format.
type OtherModel struct {
	File       string      `toml:"file"`
	Convention string      `toml:"convention"`
	Layers     []LayerRule `toml:"layer"`
}

// LayerRule describes one module of the model file, see [model.LayerSpec].
type LayerRule struct {
	Name       string `toml:"name"`
	Cell       string `toml:"cell"`
	Activation string `toml:"activation"`
}

// RecordingFiles names the recordings; each is one file or a list.
type RecordingFiles struct {
	Selection FileList `toml:"selection"`
	Signoff   FileList `toml:"signoff"`

	// start of every sequence that no judgement counts; nil: none
	Settle *SettleRule `toml:"settle"`
}

// TableFile names a CSV file.
type TableFile struct {
	File string `toml:"file"`
}

// OutputRule names the outputs: a table, or the classes of a classifier and the
// column of the recordings that holds them.
type OutputRule struct {
	File    string   `toml:"file"`
	Classes []string `toml:"classes"`
	Column  string   `toml:"column"`
}

// FileList is one file name or a list of them.
type FileList []string

// UnmarshalTOML reads a text or a list of texts.
func (l *FileList) UnmarshalTOML(v any) error {
	switch v := v.(type) {
	case string:
		*l = FileList{v}
		return nil
	case []any:
		for _, item := range v {
			name, ok := item.(string)
			if !ok {
				return notFiles(item)
			}
			*l = append(*l, name)
		}
		return nil
	}
	return notFiles(v)
}

// Checked is a reason in words.
type Checked string

const checkedHint = `say what was looked at, for example checked = "recorded in mbar, compared ` +
	`with the training set"`

// UnmarshalTOML reads a text that says something: what is signed rests on it.
func (c *Checked) UnmarshalTOML(v any) error {
	text, ok := v.(string)
	*c = Checked(strings.TrimSpace(text))
	msg := ""
	switch {
	case !ok || !strings.ContainsFunc(text, unicode.IsLetter):
		msg = "checked gives no reason"
	case utf8.RuneCountInString(text) > longestReason:
		msg = fmt.Sprintf("the reason has more than %d characters", longestReason)
	case strings.ContainsFunc(text, dataset.IsHidden):
		msg = "the reason holds a character that is not shown or moves others"
	}
	if msg != "" {
		return &targets.QuantityError{Text: fmt.Sprint(v), Msg: msg, Hint: checkedHint}
	}
	return nil
}

// longestReason is how many characters a reason may have: a few lines in every report.
const longestReason = 500

func notFiles(v any) error {
	return &targets.QuantityError{Text: fmt.Sprint(v), Msg: "not a file name",
		Hint: `write "selection.csv", or a list ["a.csv", "b.csv"]`}
}

// FrontEnd is a cost group of feature code: freed when its last feature goes.
type FrontEnd struct {
	Name   string             `toml:"name"`
	Flash  Bytes              `toml:"flash"`
	RAM    Bytes              `toml:"ram"`
	Cycles map[string]float64 `toml:"cycles"` // per step, by profile
}

// RegionRule is a region of the output space.
type RegionRule struct {
	Name  string               `toml:"name"`
	Where map[string]Condition `toml:"where"` // by output
}

// Condition bounds one output, by a number in its unit or by another output.
type Condition struct {
	Min   *float64 `toml:"min"`
	Max   *float64 `toml:"max"`
	Below *string  `toml:"below"`
	Above *string  `toml:"above"`
}

// ReadJob reads and checks a job file. Errors are [*targets.FileError].
func ReadJob(path string) (*Job, error) {
	file, _, err := whole.OpenRegular(path)
	if err != nil {
		return nil, CannotRead(path, err, jobHint)
	}
	defer file.Close()
	data, err := io.ReadAll(io.LimitReader(file, targets.MaxFileBytes+1))
	if err != nil {
		return nil, CannotRead(path, err, jobHint)
	}
	return parseJob(data, path)
}

const jobHint = "the job file is a TOML file; README.md shows one"

// parseJob checks the text of a job that was read from path.
func parseJob(data []byte, path string) (*Job, error) {
	job := &Job{}
	if err := targets.StrictDecode(data, path, job); err != nil {
		return nil, err
	}
	job.File, job.data = path, data
	return job, job.check()
}

// Path resolves a file name of the job.
func (j *Job) Path(name string) string {
	if filepath.IsAbs(name) {
		return name
	}
	return filepath.Join(filepath.Dir(j.File), name)
}

// badName makes an error about a name that reports would show.
func (j *Job) badName(fault string, path ...any) error {
	return j.at("names are shown in reports: write visible characters and single blanks only",
		fault, path...)
}

// AtName makes an error about the name of the job.
func (j *Job) AtName(hint, msg string) error { return j.at(hint, msg, "name") }

func (j *Job) check() error {
	for _, need := range []struct {
		value, hint string
		path        []any
	}{
		{j.Name, `name = "leakair": the prefix of every C identifier`, []any{"name"}},
		{j.Model.File, `[model] file = "model.safetensors"`, []any{"model", "file"}},
		{j.Features.File, `[features] file = "features.csv"`, []any{"features", "file"}},
		{first(j.Recordings.Selection), `[recordings] selection = "selection.csv"`,
			[]any{"recordings", "selection"}},
		{first(j.Recordings.Signoff), `[recordings] signoff = "signoff.csv"`,
			[]any{"recordings", "signoff"}},
	} {
		if need.value == "" {
			return j.at("add "+need.hint, fmt.Sprintf("%s is missing", dotted(need.path)),
				need.path...)
		}
	}
	if err := j.checkOutputs(); err != nil {
		return err
	}
	for i, t := range j.Targets {
		if err := j.checkTarget(i, t); err != nil {
			return err
		}
	}
	if err := j.Formats.Check(); err != nil {
		return j.at(`weights = "int4", "int8" or "int16", state = "int16" or "int32"; leave `+
			`them out to have them chosen`, err.Error(), "formats")
	}
	if j.Recovery != nil {
		if err := j.Recovery.Settings().Check(); err != nil {
			return j.at("for example epochs = 20, teacher = 1; what is left out has a default",
				err.Error(), "recovery")
		}
	}
	for i, f := range j.FrontEnds {
		if fault := dataset.NameFault(f.Name); fault != "" {
			return j.badName(fault, "front_end", i, "name")
		}
		if f.Name == "" {
			return j.at("features.csv refers to it by this name", "the cost group has no name",
				"front_end", i)
		}
		for profile, cycles := range f.Cycles {
			if !(cycles >= 0 && cycles <= targets.MostCycles) {
				return j.at("cycles per step, 0 or more",
					fmt.Sprintf("%g cycles make no sense", cycles), "front_end", i, "cycles",
					profile)
			}
		}
	}
	return nil
}

func (j *Job) checkOutputs() error {
	o := j.Outputs
	classifier := len(o.Classes) > 0 || o.Column != ""
	switch {
	case !classifier && o.File == "":
		return j.at(`add [outputs] file = "outputs.csv", or classes and column for a classifier`,
			"outputs.file is missing", "outputs", "file")
	case classifier && o.File != "":
		return j.at("a regression has a file, a classifier has classes and column",
			"outputs has a file and classes", "outputs", "file")
	case classifier && (len(o.Classes) < 2 || o.Column == ""):
		return j.at(`for example classes = ["calm", "worn"], column = "class"`,
			"a classifier needs two classes or more, and the column of the recordings that "+
				"holds them", "outputs")
	case classifier && dataset.NameFault(o.Column) != "":
		return j.badName(dataset.NameFault(o.Column), "outputs", "column")
	case classifier && len(j.Regions) > 0:
		return j.at("remove the regions", "regions are parts of the output space of a regression",
			"region", 0)
	}
	return nil
}

func first(l FileList) string {
	if len(l) == 0 {
		return ""
	}
	return l[0]
}

func sortedKeys[V any](m map[string]V) []string {
	keys := make([]string, 0, len(m))
	for k := range m {
		keys = append(keys, k)
	}
	sort.Strings(keys)
	return keys
}

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
	"kerf/fault"
	"kerf/targets"
	"kerf/whole"
)

// Job is the job file as written. Comments of its fields, and of those of the structs in it, are
// the text of docs/job.md: sentences for the user, "Default: ..." or "Required." last, and behind
// an empty line what the page says above the keys of a table.
type Job struct {
	// The name is the prefix of every C identifier and of the files of the handoff: lower-case
	// letters, digits and underscores. Required.
	Name string `toml:"name"`

	// This table says where the trained network is, and how its file is to be read. Required.
	//
	// One to three recurrent layers (GRU, LSTM or Elman RNN) are read, then one or more linear
	// layers. An ONNX graph says all of that itself, with outputs at every step or after the last
	// one, states as inputs and outputs or not, and whatever an exporter puts around the layers;
	// its weights must be float and stored in the file. A normalisation in front of the network, by
	// constants, is applied once: features.csv then says mean 0 and std 1, or the same numbers.
	//
	// A torch state dict may have any module prefix, and biases or not. Save it in the training
	// program with `safetensors.torch.save_file(model.state_dict(), "model.safetensors")`, or
	// without that package with `numpy.savez("model.npz", **{k: v.numpy() for k, v in
	// model.state_dict().items()})`. Pickle files (`.pt`, `.pth`) are refused: they can run code
	// when loaded.
	//
	// A Keras model gives `numpy.savez("model.npz", *model.get_weights())`. GRU (`reset_after`
	// shows in the bias), LSTM, SimpleRNN and Dense are read. What the arrays do not hold is taken
	// for the default of Keras 2 and 3, tanh and sigmoid: a layer with
	// `recurrent_activation="hard_sigmoid"` computes something else. `.keras` and `.h5` files are
	// refused with this advice.
	Model ModelFile `toml:"model"`

	// This table names the recordings. Required.
	Recordings RecordingFiles `toml:"recordings"`

	// This table names the features, and those that are pinned. Required.
	Features FeatureRule `toml:"features"`

	// This table pins hidden units. Default: no unit is pinned.
	Units UnitRule `toml:"units"`

	// This table names the outputs, or the classes of a classifier. Required.
	//
	// A classifier has `classes` and `column` instead of a file. A softmax at the end of its
	// network is left out: the class is the largest score, `NAME_class` in the C.
	Outputs OutputRule `toml:"outputs"`

	// This table names the scores of the features. Default: kerf computes them.
	Scores TableFile `toml:"scores"`

	// Each of these tables declares code that computes features from samples. A front end goes, and
	// frees what it costs, with the last feature that names it in features.csv. Default: computing
	// the features costs nothing.
	FrontEnds []FrontEnd `toml:"front_end"`

	// This table names recordings of raw samples, from which kerf computes features to compare them
	// with the recordings; see [features.md](features.md). Default: every feature is given.
	Raw *RawRule `toml:"raw"`

	// Each of these tables is one sampled channel. Default: none; with `[raw]` there is one or
	// more.
	Channels []ChannelRule `toml:"channel"`

	// Each of these tables names a part of the output space that gets rows of its own in the
	// report. A classifier has none. Default: no regions.
	Regions []RegionRule `toml:"region"`

	// This table has one entry per output, such as `leakage = { rmse_rise = "5 %" }`: what that
	// output may lose. Default: errors are shown and not judged.
	//
	// What an entry says holds for every row of its output: all recordings, each scenario, each
	// region. The tolerances of a classifier stand under the name of its column.
	//
	// A tolerance is broken when the figure itself breaks it, and met when the upper end of its 95
	// % interval meets it; between the two the verdict is "not enough recordings", with how many
	// are needed at least. The interval follows from how unlike whole sequences are, so what counts
	// is their number: record many short runs rather than one long one. From two sequences on there
	// is an interval, a wide one; with one selection sequence nothing is cut. A largest error is
	// judged as it is. [intervals.md](intervals.md) says what intervals rest on and how often they
	// hold.
	Tolerances map[string]Tolerance `toml:"tolerance"`

	// Each of these tables is one target with its limits. A limit that is left out is not judged.
	// Default: no cost is computed.
	Targets []TargetRule `toml:"target"`

	// This table fixes word widths. Default: widths are chosen, tensor by tensor.
	Formats FormatRule `toml:"formats"`

	// This table says what the search minimises, and how long it may look; see
	// [search.md](search.md). Default: all costs together, without an end in time.
	Search SearchRule `toml:"search"`

	// This table asks for recovery training: smaller networks are trained until they do what the
	// network as given does, see [recovery.md](recovery.md). An empty table asks for training with
	// every default. Default: no training.
	Recovery *RecoveryRule `toml:"recovery"`

	File string `toml:"-"` // as the user gave it
	data []byte // the text, for the place of an error
}

// ModelFile names the network of the job.
type ModelFile struct {
	// This file holds the network: `.onnx`, `.safetensors` or `.npz`. Required.
	File string `toml:"file"`

	// The version is what you call this state of the network, in 40 characters at most. It stands
	// in the sign-off, and in the C as `NAME_MODEL_VERSION`. Default: none.
	Version ModelVersion `toml:"version"`

	// The convention says by which names, order of gates and layout the tensors are read: "torch"
	// for torch.nn.GRU, LSTM, RNN and Linear, or "keras". Default: none, as an ONNX file must have
	// it; the other formats need one.
	Convention string `toml:"convention"`

	// Each of these tables describes one module of the file, from the first to the last. Default:
	// modules, cells and activations are inferred, and kerf says what it cannot infer.
	//
	// A state dict does not say everything. Where it does not, the job lists the modules in order:
	//
	//	[[model.layer]]
	//	name = "rnn"
	//	cell = "elman-tanh"
	//	[[model.layer]]
	//	name = "dense"
	//	activation = "relu"
	//	[[model.layer]]
	//	name = "head"
	Layers []LayerRule `toml:"layer"`

	// This text, of 500 characters at most, is the reason why a finding against the network as
	// given is none, so that the verdict may stand; see [examination.md](examination.md). Default:
	// a finding forbids the verdict "fits".
	Checked Checked `toml:"checked"`

	// Each of these tables names a trained network of another size for the same features and
	// outputs, which `kerf units` puts on the same table and signoff.html in the same picture as
	// the cuts of this one. Default: none.
	//
	// A tolerance such as `rmse_rise = "5 %"` is relative to a float network. For the network of
	// `[model]` and its cuts that is the one of `[model]`. Another network is judged as if it were
	// planned by itself, relative to its own float network: what rounding adds. Beside that stands
	// how its integer network compares with the float network of `[model]`, pair by pair over the
	// selection sequences. It is no worse where, over all recordings, the upper end of the 95 %
	// interval of each rise meets its tolerance, and in each scenario and region the rise itself.
	// (Two networks that were trained apart err apart, so in a scenario of few sequences that
	// interval shows nothing.) `kerf units` recommends another network only if both hold; `kerf
	// plan` names it in a note if it then costs less than the choice. Judge it on recordings that
	// it was not trained on.
	Others []OtherModel `toml:"other"`
}

// OtherModel names another network for the same features and outputs.
type OtherModel struct {
	// This file holds the network, as `file` of `[model]`. Required.
	File string `toml:"file"`

	// The convention is read as that of `[model]`. Default: the one of `[model]` if both files are
	// of one format.
	Convention string `toml:"convention"`

	// Each of these tables describes one module of the file. Default: they are inferred.
	Layers []LayerRule `toml:"layer"`
}

// LayerRule describes one module of the model file, see [model.LayerSpec].
type LayerRule struct {
	// The name is the part of the tensor names before ".weight_ih_l0" or ".weight"; a stacked
	// recurrent module is one entry. Arrays of Keras have no names. Default: no name.
	Name string `toml:"name"`

	// The cell of a recurrent module is "gru" (reset-after), "gru-reset-before", "lstm",
	// "elman-tanh" or "elman-relu". Default: three blocks of gates are a "gru", four an "lstm".
	Cell string `toml:"cell"`

	// The activation stands behind a linear module: "identity", "relu", "tanh" or "logistic".
	// Default: "identity".
	Activation string `toml:"activation"`
}

// RecordingFiles names the recordings; each is one file or a list.
type RecordingFiles struct {
	// These recordings may be used to choose anything: scores, cut, calibration, training.
	// Required.
	Selection FileList `toml:"selection"`

	// These recordings only judge; nothing is chosen by them. Required.
	Signoff FileList `toml:"signoff"`

	// This much of the start of every sequence counts in no judgement: a number of steps such as
	// "50 steps", or a time such as "5 s" where `t` is in seconds. Default: every step counts.
	Settle *SettleRule `toml:"settle"`
}

// TableFile names a CSV file.
type TableFile struct {
	// This file holds mean scores or raw attributions: `.csv`, `.npy` or `.npz`. Default: the
	// report shows the change of the outputs when a feature is held at its mean, to first order,
	// and `kerf rank` computes Shapley values.
	File string `toml:"file"`
}

// OutputRule names the outputs: a table, or the classes of a classifier and the
// column of the recordings that holds them.
type OutputRule struct {
	// This file lists the outputs in the order of the network. Default: none, for a classifier; any
	// other network needs it.
	File string `toml:"file"`

	// These are the names of the classes in the order of the network, two or more. Default: the
	// network is no classifier.
	Classes []string `toml:"classes"`

	// This column of the recordings holds the name or the index of the class. Default: none; a
	// classifier needs it.
	Column string `toml:"column"`
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
		return targets.BadValue(fmt.Sprint(v), msg, checkedHint)
	}
	return nil
}

// longestReason is how many characters a reason may have: a few lines in every report.
const longestReason = 500

// ModelVersion is what the owner of a network calls its state.
type ModelVersion string

// UnmarshalTOML reads a text that stands in one line.
func (m *ModelVersion) UnmarshalTOML(v any) error {
	text, ok := v.(string)
	*m = ModelVersion(text)
	msg := ""
	switch {
	case !ok:
		msg = "the version is no text"
	case strings.TrimSpace(text) == "":
		msg = "the version is empty"
	case utf8.RuneCountInString(text) > longestVersion:
		msg = fmt.Sprintf("the version has more than %d characters", longestVersion)
	case strings.ContainsFunc(text, dataset.IsHidden):
		msg = "the version holds a character that is not shown or moves others"
	}
	if msg != "" {
		return targets.BadValue(fmt.Sprint(v), msg, `write it in quotes, for example "2.1.0"`)
	}
	return nil
}

// longestVersion is how many characters a version may have: it shares lines with other texts.
const longestVersion = 40

func notFiles(v any) error {
	return targets.BadValue(fmt.Sprint(v), "not a file name",
		`write "selection.csv", or a list ["a.csv", "b.csv"]`)
}

// FrontEnd is a cost group of feature code: freed when its last feature goes.
type FrontEnd struct {
	// The name stands in the column `front_end` of features.csv. Required.
	Name string `toml:"name"`

	// The code and its tables take this much flash. Default: none.
	Flash Bytes `toml:"flash"`

	// Its buffers take this much RAM. Default: none.
	RAM Bytes `toml:"ram"`

	// It takes so many cycles per step, by name of the profile: `{ "cortex-m4f" = 5200 }`. Default:
	// its time is not in the figures of a target, and a note says so.
	Cycles map[string]float64 `toml:"cycles"`
}

// RegionRule is a region of the output space.
type RegionRule struct {
	// The name stands in the rows of the report. Required.
	Name string `toml:"name"`

	// A step is in the region where every output named here meets its condition, by the values in
	// the recordings: `where.air = { min = 4.0 }`. Required.
	Where map[string]Condition `toml:"where"`
}

// Condition bounds one output, by a number in its unit or by another output.
type Condition struct {
	// The output is at least this number, in its unit. Default: no lower end.
	Min *float64 `toml:"min"`

	// The output is at most this number, in its unit. Default: no upper end.
	Max *float64 `toml:"max"`

	// The output is below the one named here, at the same step. Default: not compared.
	Below *string `toml:"below"`

	// The output is above the one named here, at the same step. Default: not compared.
	Above *string `toml:"above"`
}

// ReadJob reads and checks a job file. Errors are [*fault.Error].
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
		{j.Model.File, `[model] file = "model.safetensors"; in a draft of kerf init, take the ` +
			`# off the lines of one reading`, []any{"model", "file"}},
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
		return j.at(fault.Hint(err), err.Error(), "formats").From(err)
	}
	if j.Recovery != nil {
		if key, example, err := j.Recovery.check(); err != nil {
			return j.at("for example "+example+"; left out it has a default", err.Error(),
				"recovery", key).From(err)
		}
	}
	if err := j.checkRaw(); err != nil {
		return err
	}
	for i, f := range j.FrontEnds {
		if fault := dataset.NameFault(f.Name); fault != "" {
			return j.badName(fault, "front_end", i, "name")
		}
		if f.Name == "" {
			return j.at("features.csv refers to it by this name", "the front end has no name",
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

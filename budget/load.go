package budget

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io"
	"maps"
	"path/filepath"
	"slices"

	"kerf/dataset"
	"kerf/fault"
	"kerf/model"
	"kerf/prune"
	"kerf/targets"
)

// Inputs is everything that a job names, read and checked. Nothing changes it after [Load]: what is
// found out about it is kept by a [Planner].
type Inputs struct {
	Job       *Job
	Float     *dataset.Float // the network as given
	Selection *dataset.Recordings
	Signoff   *dataset.Recordings
	Further   *dataset.Recordings // for recovery training alone; nil for none
	Regions   []dataset.Region
	Scores    *prune.Scores // nil when the job gives none
	Targets   []Target
	Files     []InputFile
	Warnings  []string
	Shared    int  // sign-off sequences that are selection recordings as well
	Raw       *Raw // samples; nil where the job has none

	pins      pins
	sequences map[string]sequenceCounts // by scenario; empty: all
	leftOut   map[string]bool           // sequences that repeat others, by name
}

// Target is one target of the job with its profile.
type Target struct {
	TargetRule
	Core     *targets.Profile
	Pause    Seconds // from the last sample of a window to the first of the next; 0 without samples
	Interval Seconds // between two samples of a window; 0 without samples
}

// InputFile is one file that the result depends on.
type InputFile struct {
	Role Role `json:"role"`
	// File is the name in the job, of an absolute path the last part.
	File   string `json:"file"`
	SHA256 string `json:"sha256"` // hexadecimal
}

// Load reads a job file and every file it names.
func Load(path string) (*Inputs, error) {
	job, err := ReadJob(path)
	if err != nil {
		return nil, err
	}
	return loadJob(job)
}

// LoadFrom reads a job from r, which messages call name, and every file it names, relative to the
// current folder.
func LoadFrom(r io.Reader, name string) (*Inputs, error) {
	data, err := io.ReadAll(io.LimitReader(r, targets.MaxFileBytes+1))
	if err != nil {
		return nil, CannotRead(name, err, "the job is a TOML text; README.md shows one")
	}
	job, err := parseJob(data, name)
	if err != nil {
		return nil, err
	}
	return loadJob(job)
}

// loader fills the inputs of a job: it alone assigns to their fields.
type loader struct{ *Inputs }

func loadJob(job *Job) (*Inputs, error) {
	in := loader{&Inputs{Job: job}}
	in.Files = append(in.Files, InputFile{"job", filepath.Base(job.File), hash(job.data)})
	for _, step := range []func() error{
		in.loadTargets, in.loadNetwork, in.checkPins, in.checkFrontEnds, in.checkSearch,
		in.checkTolerances, in.loadRecordings, in.loadRaw, in.checkRowNames, in.checkScenarios,
		in.loadScores,
	} {
		if err := step(); err != nil {
			return nil, err
		}
	}
	return in.Inputs, nil
}

// WithFormats returns the same inputs with other words where weights or state are not empty. The
// error is that of [FormatRule.Check].
func (in *Inputs) WithFormats(weights, state string) (*Inputs, error) {
	job, changed := *in.Job, *in
	if weights != "" {
		job.Formats.Weights = weights
	}
	if state != "" {
		job.Formats.State = state
	}
	changed.Job = &job
	return &changed, job.Formats.Check()
}

// WithUnits returns the same inputs with so many units that stay per recurrent layer.
func (in *Inputs) WithUnits(counts []int) (*Inputs, error) {
	if msg, hint := in.countFault(counts); msg != "" {
		return nil, fault.New("--units-count: "+msg, hint)
	}
	job, changed := *in.Job, *in
	job.Units.Count = counts
	changed.Job = &job
	return &changed, nil
}

// WithRecovery returns the same inputs with recovery training, as the job says or with what the
// training has by default. epochs are those of the training where they are not nil.
func (in *Inputs) WithRecovery(epochs *int) *Inputs {
	job, changed, rule := *in.Job, *in, RecoveryRule{}
	if job.Recovery != nil {
		rule = *job.Recovery
	}
	if epochs != nil {
		rule.Epochs = epochs
	}
	job.Recovery = &rule
	changed.Job = &job
	return &changed
}

func hash(data []byte) string {
	sum := sha256.Sum256(data)
	return hex.EncodeToString(sum[:])
}

func (in loader) loadTargets() error {
	names := map[string]bool{}
	for i, rule := range in.Job.Targets {
		t := Target{TargetRule: rule}
		var err error
		if rule.ProfileFile != "" {
			data, err := in.read("profile", rule.ProfileFile, "target", i, "profile_file")
			if err != nil {
				return err
			}
			if t.Core, err = targets.Parse(data, in.Job.Path(rule.ProfileFile)); err != nil {
				return err
			}
		} else if t.Core, err = targets.Load(rule.Profile); err != nil {
			return in.Job.at(fault.Hint(err), err.Error(), "target", i, "profile").From(err)
		}
		if err != nil {
			return err
		}
		if t.Name == "" {
			t.Name = t.Core.Name
		}
		if fault := dataset.NameFault(t.Name); fault != "" {
			return in.Job.badName(fault, "target", i, "name")
		}
		if names[t.Name] {
			return in.Job.at(`give one of them another name = "..."`,
				fmt.Sprintf("two targets are called %s", t.Name), "target", i)
		}
		names[t.Name] = true
		if t.Flash == nil {
			t.Flash = t.Core.Flash
		}
		if t.RAM == nil {
			t.RAM = t.Core.RAM
		}
		if raw := in.Job.Raw; raw != nil {
			t.Pause, t.Interval = raw.pause(), Seconds(1/float64(raw.Rate))
			if t.Period == nil {
				t.Period = &raw.Period
			}
		}
		for _, check := range []func(int, Target) error{in.checkMemory, in.checkPower,
			in.checkSampling, in.checkBuild, in.checkForm} {
			if err := check(i, t); err != nil {
				return err
			}
		}
		in.Targets = append(in.Targets, t)
	}
	return nil
}

// spec hands the rules of the job to the reader of the model file.
func (m ModelFile) spec() model.Spec {
	s := model.Spec{Convention: m.Convention}
	for _, l := range m.Layers {
		s.Layers = append(s.Layers, model.LayerSpec(l))
	}
	return s
}

func (in loader) loadNetwork() error {
	job := in.Job
	imported, err := in.importNetwork("model", job.Model, "model", "file")
	if err != nil {
		return err
	}
	net := imported.Network
	table, err := in.read("features", job.Features.File, "features", "file")
	if err != nil {
		return err
	}
	features, err := dataset.ReadFeatures(bytes.NewReader(table), job.Features.File)
	if err != nil {
		return err
	}
	outputs, err := in.loadOutputs()
	if err != nil {
		return err
	}
	if len(features) != net.Inputs() {
		return &fault.Error{Kind: dataset.ErrInput, File: job.Features.File,
			Msg: fmt.Sprintf("%d features are declared, the network in %s takes %d", len(features),
				job.Model.File, net.Inputs()), Hint: "one line per input of the network, in " +
				"its order"}
	}
	if len(outputs) != net.Outputs() {
		if job.Outputs.File == "" {
			return job.at("one class per output of the network, in its order",
				fmt.Sprintf("%d classes are declared, the network in %s gives %d", len(outputs),
					job.Model.File, net.Outputs()), "outputs", "classes")
		}
		return &fault.Error{Kind: dataset.ErrInput, File: job.Outputs.File,
			Msg: fmt.Sprintf("%d outputs are declared, the network in %s gives %d", len(outputs),
				job.Model.File, net.Outputs()), Hint: "one line per output of the network, in " +
				"its order"}
	}
	for _, f := range features {
		for _, o := range outputs {
			if f.Name == o.Name {
				return &fault.Error{Kind: dataset.ErrInput, File: job.Outputs.File, Line: o.Line,
					Name: "column name",
					Msg:  o.Name + " is also the name of a feature",
					Hint: "recordings find their columns by name; rename one of the two"}
			}
		}
	}
	if net, err = in.normalised(imported, features, job.Model.File); err != nil {
		return err
	}
	in.Float = dataset.NewFloat(net, features, outputs)
	in.Float.Classes = job.Outputs.Column != ""
	if imported.Softmax && !in.Float.Classes {
		return job.at("a classifier has [outputs] classes and column; export any other network "+
			"without the softmax", "the network in "+job.Model.File+" ends with a softmax, but "+
			"the job has no classes", "model", "file")
	}
	if imported.LastStep {
		in.Warnings = append(in.Warnings, job.Model.File+" gives outputs after the last step of "+
			"a sequence only; here they are computed and judged at every step")
	}
	in.Regions, err = job.regions(outputs)
	return err
}

// importNetwork reads a network that the job names at a path of keys.
func (in loader) importNetwork(role Role, m ModelFile, key ...any) (*model.Import, error) {
	file, _, err := in.open(m.File, key...)
	if err != nil {
		return nil, err
	}
	defer file.Close()
	sum := sha256.New()
	if _, err := io.Copy(sum, file); err != nil {
		return nil, in.unreadable(m.File, err, key...)
	}
	in.note(role, m.File, sum.Sum(nil))
	return model.ImportFile(in.Job.Path(m.File), m.spec())
}

// loadOutputs reads outputs.csv, or makes one output per class.
func (in loader) loadOutputs() ([]dataset.Output, error) {
	rule := in.Job.Outputs
	if rule.File != "" {
		table, err := in.read("outputs", rule.File, "outputs", "file")
		if err != nil {
			return nil, err
		}
		return dataset.ReadOutputs(bytes.NewReader(table), rule.File)
	}
	var outputs []dataset.Output
	for i, class := range rule.Classes {
		if fault := dataset.NameFault(class); fault != "" {
			return nil, in.Job.badName(fault, "outputs", "classes", i)
		}
		if class == prune.All {
			return nil, in.Job.at(`"all" stands for all of them together; choose another name`,
				`"all" cannot name a class`, "outputs", "classes", i)
		}
		if class == "" || slices.Contains(rule.Classes[:i], class) {
			return nil, in.Job.at("every class has a name of its own",
				fmt.Sprintf("class %d has no name, or that of another one", i), "outputs",
				"classes", i)
		}
		outputs = append(outputs, dataset.Output{Name: class, Std: 1})
	}
	return outputs, nil
}

// checkRowNames refuses names that would give two rows of the report one name: those of the
// accuracy are named by output and scenario or region, those of the cost by target and resource.
func (in *Inputs) checkRowNames() error {
	scenarios := append(in.Selection.Scenarios(), in.Signoff.Scenarios()...)
	for i, r := range in.Regions {
		for _, s := range scenarios {
			if s == r.Name || s == "region "+r.Name {
				msg := "the recordings have a scenario %q: the region %q could not be told from it"
				hint := "rows of the report are named by scenario or region; rename one of the two"
				return in.Job.at(hint, fmt.Sprintf(msg, s, r.Name), "region", i, "name")
			}
		}
	}
	outputs := dataset.OutputNames(in.judged())
	for i, t := range in.Targets {
		if slices.Contains(outputs, t.Name) {
			msg := fmt.Sprintf("%q is also the name of an output", t.Name)
			hint := `rows of the report are named by output or target; give the target name = "..."`
			return in.Job.at(hint, msg, "target", i, "name")
		}
	}
	return nil
}

func (in loader) loadScores() error {
	name := in.Job.Scores.File
	if name == "" {
		return nil
	}
	data, err := in.read("scores", name, "scores", "file")
	if err != nil {
		return err
	}
	in.Scores, err = prune.ReadScoreFile(data, name, in.Float, in.Selection)
	return err
}

func (in loader) checkFrontEnds() error {
	used := map[string]bool{}
	declared := map[string]bool{}
	for i, g := range in.Job.FrontEnds {
		if declared[g.Name] {
			return in.Job.at("every front end stands once",
				fmt.Sprintf("second front end %q", g.Name), "front_end", i)
		}
		declared[g.Name] = true
		for profile := range g.Cycles {
			if known := in.profileNames(); !slices.Contains(known, profile) {
				return in.Job.at(fault.DidYouMeanOr(profile, known,
					"kerf targets list names the profiles"),
					fmt.Sprintf("cycles for the unknown profile %q", profile), "front_end", i,
					"cycles", profile)
			}
		}
	}
	for _, f := range in.Float.Features {
		if f.FrontEnd != "" && f.Computed != "" {
			return &fault.Error{Kind: dataset.ErrInput, File: in.Job.Features.File, Line: f.Line,
				Name: "column front_end", Msg: fmt.Sprintf("%s is computed from samples, and what "+
					"that takes is counted: it has no front end %q", f.Name, f.FrontEnd),
				Hint: "leave the cell empty; a front end declares what computes given features"}
		}
		if f.FrontEnd != "" && !declared[f.FrontEnd] {
			return &fault.Error{Kind: dataset.ErrInput, File: in.Job.Features.File, Line: f.Line,
				Name: "column front_end", Msg: fmt.Sprintf("unknown front end %q", f.FrontEnd),
				Hint: fault.DidYouMeanOr(f.FrontEnd, slices.Sorted(maps.Keys(declared)),
					"the job declares it with [[front_end]]")}
		}
		used[f.FrontEnd] = true
	}
	for i, g := range in.Job.FrontEnds {
		if !used[g.Name] {
			return in.Job.at("the column front_end of features.csv says which features need it",
				fmt.Sprintf("no feature uses the front end %q", g.Name), "front_end", i)
		}
		for _, t := range in.Targets {
			if _, ok := g.Cycles[t.Core.Name]; !ok {
				in.Warnings = append(in.Warnings, fmt.Sprintf("front end %s has no cycles for "+
					"%s: its time is not in the figures of that target", g.Name, t.Core.Name))
			}
		}
	}
	return nil
}

// profileNames lists the profiles that are built in, and the job's own.
func (in *Inputs) profileNames() []string {
	names := targets.Names()
	for _, t := range in.Targets {
		if !slices.Contains(names, t.Core.Name) {
			names = append(names, t.Core.Name)
		}
	}
	return names
}

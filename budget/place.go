package budget

import (
	"fmt"
	"path/filepath"
	"strings"

	"kerf/dataset"
	"kerf/fault"
	"kerf/targets"
)

// CannotRead says that a file cannot be read, without repeating its path.
func CannotRead(path string, err error, hint string) error {
	return fault.OfFile(path, "the file cannot be read", err, hint)
}

// at makes an error about the value at a path of keys in the job file.
func (j *Job) at(hint, msg string, path ...any) *fault.Error {
	line, col := targets.Locate(j.data, path...)
	return &fault.Error{File: j.File, Line: line, Column: col, Msg: msg, Hint: hint}
}

func dotted(path []any) string {
	s := ""
	for i, p := range path {
		if i > 0 {
			s += "."
		}
		s += fmt.Sprint(p)
	}
	return s
}

// place names a value of the job: file, line and key.
func (j *Job) place(keys ...any) string {
	line, _ := targets.Locate(j.data, keys...)
	var path strings.Builder
	for _, part := range keys {
		if i, ok := part.(int); ok {
			fmt.Fprintf(&path, "[%d]", i)
			continue
		}
		if path.Len() > 0 {
			path.WriteByte('.')
		}
		path.WriteString(targets.TOMLKey(fmt.Sprint(part)))
	}
	return fmt.Sprintf("%s:%d: %s", filepath.Base(j.File), line, path.String())
}

// toleranceKeys are the keys of a relative and of an absolute tolerance on a metric.
var toleranceKeys = map[dataset.Metric][2]string{
	dataset.RMSE:             {"rmse_rise", "rmse"},
	dataset.MAE:              {"mae_rise", "mae"},
	dataset.MaxError:         {"", "max_error"},
	dataset.Bias:             {"", "bias"},
	dataset.Accuracy:         {"accuracy_drop", ""},
	dataset.BalancedAccuracy: {"balanced_accuracy_drop", ""},
	dataset.Agreement:        {"disagreement", ""},
}

// ToleranceFrom says where the job sets the tolerance of a row; empty where there is none.
func (in *Inputs) ToleranceFrom(l Loss) string {
	if !l.Judged {
		return ""
	}
	key := toleranceKeys[l.Metric][1]
	if l.Relative {
		key = toleranceKeys[l.Metric][0]
	}
	if l.Metric == dataset.Explained {
		key = "explained"
	}
	path := []any{"tolerance", l.Output}
	if in.Job.Tolerances[l.Output].isSpecial(l) {
		if l.Region != "" {
			path = append(path, "region", l.Region)
		} else {
			path = append(path, "scenario", l.Scenario)
		}
	}
	return in.Job.place(append(path, key)...)
}

// LimitFrom says where the limit of a total was set: in the job, or by the profile of the part. It
// is empty where there is none.
func (in *Inputs) LimitFrom(c Cost) string {
	if c.Verdict == "" {
		return ""
	}
	for i, t := range in.Targets {
		if t.Name != c.Target {
			continue
		}
		rule := in.Job.Targets[i]
		key := string(c.Resource)
		switch {
		case c.Resource == FeaturesTime && !isTighter(rule.FeaturesTime, t.Pause):
			return in.Job.place("raw", "period")
		case c.Resource == InterruptTime && !isTighter(rule.InterruptTime, t.Interval):
			return in.Job.place("raw", "rate")
		case c.Resource == Flash && rule.Flash == nil, c.Resource == RAM && rule.RAM == nil:
			return "profile " + t.Core.Name + ": " + string(c.Resource)
		case c.Resource == StepTime &&
			(rule.StepTime == nil || t.Period != nil && *t.Period < *rule.StepTime),
			c.Resource == Duty && t.Interval > 0 && !isTighter(rule.Duty, 1):
			if key = "period"; rule.Period == nil {
				return in.Job.place("raw", key)
			}
		case c.Resource == Current:
			key = "average_current"
		}
		return in.Job.place("target", i, key)
	}
	return ""
}

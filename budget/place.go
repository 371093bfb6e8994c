package budget

import (
	"fmt"
	"path/filepath"
	"strings"

	"kerf/dataset"
	"kerf/targets"
)

// place names a value of the job: file, line and key.
func (j *Job) place(path ...any) string {
	line, _ := targets.Locate(j.data, path...)
	var key strings.Builder
	for _, part := range path {
		if i, ok := part.(int); ok {
			fmt.Fprintf(&key, "[%d]", i)
			continue
		}
		if key.Len() > 0 {
			key.WriteByte('.')
		}
		fmt.Fprint(&key, part)
	}
	return fmt.Sprintf("%s:%d: %s", filepath.Base(j.File), line, key.String())
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
	return in.Job.place("tolerance", l.Output, key)
}

// LimitFrom says where the limit of a total was set: in the job, or by the profile of the part. It is empty where there is none.
func (in *Inputs) LimitFrom(c Cost) string {
	if c.Verdict == "" {
		return ""
	}
	for i, t := range in.Targets {
		if t.Name != c.Target {
			continue
		}
		rule := in.Job.Targets[i]
		key := c.Resource
		switch {
		case c.Resource == Flash && rule.Flash == nil, c.Resource == RAM && rule.RAM == nil:
			return "profile " + t.Core.Name + ": " + c.Resource
		case c.Resource == StepTime && (rule.StepTime == nil || rule.Period != nil && *rule.Period < *rule.StepTime):
			key = "period"
		case c.Resource == Current:
			key = "average_current"
		}
		return in.Job.place("target", i, key)
	}
	return ""
}

package main

import (
	"fmt"

	"kerf/budget"
	"kerf/dataset"
	"kerf/exporter/report"
)

// metricText holds what a metric is, and its formula over the n steps of a row. e is prediction
// minus reference.
var metricText = map[dataset.Metric][2]string{
	dataset.RMSE: {"root mean square error",
		"sqrt(sum e² / n), e = prediction - reference at a step, n = steps"},
	dataset.MAE: {"mean absolute error",
		"sum |e| / n, e = prediction - reference at a step, n = steps"},
	dataset.MaxError: {"largest error at any step",
		"max |e|, e = prediction - reference at a step"},
	dataset.Bias: {"mean error, with its sign",
		"sum e / n, e = prediction - reference at a step, n = steps"},
	dataset.Accuracy: {"share of the steps whose class is right",
		"steps with the recorded class / n, n = steps"},
	dataset.BalancedAccuracy: {"mean over the classes of the share that is found",
		"mean over classes of (steps of the class that are found / steps of the class)"},
	dataset.Explained: {"share of the error of a constant that the network takes " +
		"away; the constant is the mean, of a classifier the most frequent class, of the " +
		"selection recordings", "1 - sum e² / sum (constant - reference)²; of a classifier 1 - " +
		"wrong steps / wrong steps of the most frequent class"},
	dataset.Agreement: {"share of the steps on which the class is that of the " +
		"float network", "steps with the class of the float network / n, n = steps"},
}

// explainLoss explains a row of the accuracy.
func explainLoss(s *report.Signoff, l report.LossRow) explanation {
	_, names := lossNames(l)
	text := metricText[l.Metric]
	e := explanation{Row: budget.RowText(names...), Names: names, Formula: text[1],
		Sequences: l.Sequences,
		Steps:     l.Steps, Kind: l.Kind,
		KindMeans: string(l.Kind) + ": on the recordings, with the integers that the C computes",
		Limit:     l.Tolerance, LimitFrom: l.From, Margin: l.Margin, Verdict: l.Verdict,
		Caution: report.Caution}
	where := "on all steps"
	switch {
	case l.Region != "":
		where = "on the steps whose recorded outputs lie in the region " + l.Region
	case l.Scenario != "all":
		where = "on the sequences of the scenario " + l.Scenario
	}
	e.Meaning = fmt.Sprintf(
		"%s of %s, %s of the %s recordings, of the networks below on the same steps", text[0],
		l.Output, where, s.MeasuredOn)
	unit := lossUnit(l)
	add := func(name, unit string, v *float64) {
		if v != nil {
			e.Figures = append(e.Figures, figure{name, *v, unit, l.Kind, shownLoss(*v, unit)})
		}
	}
	add("float: as given", unit, &l.Float)
	add("cut: without what goes", unit, &l.Cut)
	add("recovered: trained after", unit, l.Recovered)
	add("fixed: integers of the C", unit, &l.Fixed)
	if l.Rise != nil {
		e.Figures = append(e.Figures, figure{"rise", *l.Rise, "", l.Kind, shownChange(l, *l.Rise)})
	}
	switch {
	case l.Rise == nil:
	case l.Metric.IsShare():
		e.Formula += "; rise = float - fixed"
	default:
		e.Formula += "; rise = fixed / float - 1"
	}
	e.Recordings = inputsOf(s, budget.SignoffRole)
	if s.MeasuredOn == budget.SelectionSet {
		e.Recordings = inputsOf(s, budget.SelectionRole)
	}
	e.facts = append(e.facts, []string{"recordings",
		fmt.Sprintf("%d sequences, %d steps, of %s", l.Sequences, l.Steps,
			dataset.ListNames(e.Recordings))})
	low, high, of := l.RiseLow, l.RiseHigh, "of the rise"
	if l.ToleranceOn == budget.OnFixed {
		low, high, of = l.FixedLow, l.FixedHigh, "of fixed"
	} else {
		unit = ""
	}
	if low == nil || high == nil {
		low, high, of, unit = l.FixedLow, l.FixedHigh, "of fixed", lossUnit(l)
	}
	switch {
	case l.Metric == dataset.MaxError:
		e.Interval = "none: a largest error is judged as it is, since drawing sequences anew " +
			"cannot exceed it"
	case low == nil || high == nil:
		e.Interval = "none: it takes two sequences or more"
	default:
		show := func(v float64) string { return shownLoss(v, unit) }
		if of == "of the rise" && l.Metric.IsShare() {
			show = report.Points
		}
		e.Interval = fmt.Sprintf("%s to %s: 95 %% interval %s, %s; steps within a sequence are "+
			"not independent (docs/intervals.md)", show(*low), show(*high), of, intervalText(l))
	}
	e.Sources = []string{fmt.Sprintf("the recordings, and the integer network that computes the "+
		"same integers as the C; kerf %s", s.Kerf)}
	if l.Tolerance != nil {
		_, _, unit := judged(l)
		on, limitText := "the rise", shownChange(l, *l.Tolerance)
		if l.ToleranceOn == budget.OnFixed {
			on, limitText = "fixed", shownLoss(*l.Tolerance, unit)
		}
		e.facts = append(e.facts,
			[]string{"limit", fmt.Sprintf("%s on %s, set by %s", limitText, on, l.From)})
		of := "tolerance, by the upper end of the interval"
		switch l.Metric {
		case dataset.MaxError:
			of = "tolerance"
		case dataset.Explained:
			of = "tolerance in what is not explained, by the lower end of the interval"
		}
		e.facts = append(e.facts, used(l.Used(), of))
	}
	e.Why = lossWhy(l)
	return e
}

// shownChange prints a rise in per cent, of a share of steps in points.
func shownChange(l report.LossRow, v float64) string {
	if l.Metric.IsShare() {
		return report.Points(v)
	}
	return report.Percent(v)
}

// intervalText returns the method by which the interval of a row was found.
func intervalText(l report.LossRow) string {
	jackknife := "jackknife over whole sequences with Student's t (Efron and Tibshirani 1993)"
	switch {
	case l.Blocks > 0:
		return fmt.Sprintf("%d blocks of %d steps (moving-block bootstrap, Kuensch 1989), which "+
			"reach further than the %s, or "+
			"stand for it where the sequences are alike", l.Blocks, l.BlockSteps, jackknife)
	case l.Sequences < dataset.BootstrapSequences:
		return jackknife
	}
	return "each end the outer one of the " + jackknife +
		" and of the bias-corrected and accelerated bootstrap (Efron 1987; 2000 seeded draws)"
}

// lossWhy returns how the verdict follows from figure, interval and number of sequences.
func lossWhy(l report.LossRow) string {
	end := "upper"
	if l.Metric == dataset.Explained {
		end = "lower" // the end that is further from what is asked for
	}
	switch {
	case l.Verdict == budget.Pass && l.Metric == dataset.MaxError:
		return "the largest error is within the tolerance"
	case l.Verdict == budget.Pass:
		return "the " + end + " end of the interval is within the tolerance"
	case l.Verdict == budget.Fail && l.Metric == dataset.Explained:
		return "the figure itself is below the tolerance"
	case l.Verdict == budget.Fail:
		return "the figure itself is above the tolerance"
	case l.Verdict == budget.NotEnough && l.Sequences < l.Metric.Fewest():
		return fmt.Sprintf("below %d sequences %s is not judged unless it breaks its tolerance",
			l.Metric.Fewest(), report.Spaced(l.Metric))
	case l.Verdict == budget.NotEnough && l.WouldDo > 0:
		return fmt.Sprintf(
			"the figure is within the tolerance, the %s end of its interval is not; "+
				"at least %d sequences are needed", end, l.WouldDo)
	case l.Verdict == budget.NotEnough:
		return "the figure is within the tolerance, the " + end + " end of its interval is not"
	}
	return "not judged: the job gives no tolerance on it"
}

// used returns the line of the text about the share of a limit that is taken; it is empty without
// one.
func used(v *float64, of string) []string {
	if v == nil {
		return []string{"used", ""}
	}
	return []string{"used", fmt.Sprintf("%s of the %s", report.UsedPercent(v), of)}
}

// inputsOf lists the input files of a role, each with its hash.
func inputsOf(s *report.Signoff, role budget.Role) []string {
	names := []string{}
	for _, f := range s.Inputs {
		if f.Role == role {
			names = append(names, fmt.Sprintf("%s (SHA-256 %.16s...)", f.File, f.SHA256))
		}
	}
	return names
}

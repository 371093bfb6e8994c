package main

import (
	"fmt"
	"strings"

	"kerf/budget"
	"kerf/budget/cost"
	"kerf/exporter/report"
	"kerf/targets"
)

// resourceText holds what a resource is, and how its total follows.
var resourceText = map[budget.Resource][2]string{
	budget.Flash: {"read-only memory for the network, its code and its front end",
		"weights + tables + code + front end"},
	budget.RAM: {"static memory: the state between two steps, what the front end " +
		"declares, and weights and tables where they are copied to RAM",
		"state + front end + copied weights and tables"},
	budget.Stack: {"stack of one step, from the call of NAME_step on",
		"frames of the deepest chain of calls + arrays whose size depends on the network"},
	budget.RAMTotal: {"RAM while a step runs: data and stack together", "ram + stack"},
	budget.Cycles: {"processor cycles of one step", "sum over kernels of (runs in a step x " +
		"instructions of each class x cycles of the class) + flash wait states + front end"},
	budget.StepTime: {"time of one step", "cycles / clock; the limit is the smaller of " +
		"step_time and period"},
	budget.Duty: {"share of the period in which a step runs", "step time / period"},
	budget.Energy: {"energy of one step, while it runs",
		"step time x active current x voltage"},
	budget.Current: {"mean current over a period", "duty x active current + (1 - duty) x " +
		"sleep current"},
	budget.BatteryLife: {"how long the battery lasts when nothing else discharges it",
		"capacity / mean current"},
}

// sampledText holds what stands in place of resourceText where features are computed from samples.
var sampledText = map[budget.Resource][2]string{
	budget.Flash: {"read-only memory for the network, what computes its features, and code of " +
		"both", "weights + tables + code + tables and code that compute features + front end"},
	budget.RAM: {"static memory: the state between two steps, the sums of the samples of a " +
		"window, what the front end declares, and weights and tables where they are copied to RAM",
		"state + NAME_front + front end + copied weights and tables"},
	budget.Stack: {"stack of name_features or of a step, with a call of name_sample that " +
		"interrupts it; without what the core stores at an interrupt",
		"the larger of the deepest chains of calls of name_features and name_step + that of " +
			"name_sample"},
	budget.Cycles: {"processor cycles of one step, with those of all samples of its window",
		"samples of a window x mean call of name_sample + name_features + name_step, each the " +
			"sum over kernels of (runs x instructions of each class x cycles of the class), + " +
			"flash wait states + front end"},
	budget.StepTime: {"time from the last sample of a window to the outputs",
		"(last call of name_sample + name_features + name_step + front end) / clock; the limit " +
			"is the smaller of step_time and period"},
	budget.Duty: {"share of the period in which samples are taken in or a step runs",
		"cycles / clock / period"},
	budget.Energy: {"energy of one step and of the samples of its window, while they are " +
		"computed with, and of conversions where the job says what these take",
		"cycles / clock x active current x voltage + samples of a window x time x current of a " +
			"conversion x voltage, over the converters"},
	budget.Current: {"mean current over a period", "duty x active current + (1 - duty) x sleep " +
		"current + samples of a window x time x current of a conversion / period, over the " +
		"converters whose time and current the job says"},
	budget.Interrupt: {"cycles of the longest call of name_sample, which an interrupt makes; " +
		"without those that the core takes to enter and leave the interrupt",
		"as of cycles, for a call that fills the window, with codes that are new extremes"},
	budget.InterruptTime: {"time of the longest call of name_sample, which an interrupt makes",
		"interrupt / clock"},
	budget.FeaturesTime: {"time from the last sample of a window until its features are there; " +
		"name_features must end before the next window begins",
		"(last call of name_sample + name_features) / clock; the limit is the smaller of " +
			"features_time and period - (window - 1)/rate of [raw]"},
}

// isSampled reports whether features are computed from samples on a target.
func isSampled(s *report.Signoff, target string) bool {
	return s.Total(target, budget.Interrupt) != nil
}

// partText holds what a part of a total is.
var partText = map[string]string{
	"weights": "weights and biases, as the emitted C stores them",
	"tables":  "tables of the activations, as the emitted C stores them",
	"code":    "machine code of the emitted C",
	budget.FrontEndPart: "code, memory or time that computes the features which stay, as the job " +
		"declares it",
	"data":              "static memory, the total of ram",
	"stack":             "stack of one step, the total of stack",
	"state":             "NAME_state: what the network keeps between two steps",
	budget.NetworkPart:  "the integer inference",
	cost.FlashWait:      "what flash adds to the cycles at this clock",
	budget.SamplingPart: "the calls of name_sample of a window, which interrupts make",
	budget.FeaturesPart: "a call of name_features, which makes the features of a window",
	budget.FrontTablesPart: "constants of the front end, as NAME_front.c stores them: sines, " +
		"angles, and what brings features to x",
	budget.FrontCodePart: "machine code of the front end, NAME_front.c, with the library " +
		"routines that it needs",
	budget.CorePart: "what the core takes",
	budget.ConvertersPart: "what conversions take of the channels that are sampled, as the job " +
		"declares it",
	budget.FrontStatePart: "NAME_front: what is kept of a window and of the steps before it",
}

// partFormula holds which figures add up to a part, of those that the front end has.
var partFormula = map[string]string{
	budget.SamplingPart: "samples of a window x mean call of name_sample",
	budget.FeaturesPart: "the harmonics of every channel + roots, angles and ratios + the " +
		"scaling of each feature + beginning the next window",
	budget.FrontTablesPart: "16 B for each feature, computed or given (20 B beyond 256 of " +
		"them) + 60 B of angles where a feature has harmonics + 2 B for each entry of a table of " +
		"sines + " +
		"1 B for each harmonic in a list and for its end (2 B where one is beyond 127); channels " +
		"of the same cycles and bits share a table, those of the same harmonics a list",
	budget.FrontCodePart: "name_sample + name_features + name_front_reset + name_encode_one + " +
		"what they call",
	budget.FrontStatePart: "sums, smallest and largest codes of every channel + what its " +
		"features need of earlier windows + counters",
}

// callText says what a call is in a resource of the front end.
const callText = "the calls themselves, without waiting for flash"

// isOfFrontEnd reports whether a figure is about nothing but what computes features from samples.
func isOfFrontEnd(c report.CostRow) bool {
	switch c.Resource {
	case budget.Interrupt, budget.InterruptTime, budget.FeaturesTime:
		return true
	}
	return partFormula[c.Part] != ""
}

// behind lists rows of the same target whose figures a resource is made of, other than by parts.
var behind = map[budget.Resource][]struct {
	resource budget.Resource
	part     string
}{
	budget.InterruptTime: {{budget.Interrupt, budget.Total}},
	budget.FeaturesTime:  {{budget.Cycles, budget.FeaturesPart}, {budget.Interrupt, budget.Total}},
}

// kindText holds how far a figure of each kind can be trusted.
var kindText = map[budget.Kind]string{
	budget.Exact: "exact: follows from the emitted data; the C checks it when it is " +
		"compiled",
	budget.Measured: "measured: on a device or an emulated core",
	budget.Bounded:  "bounded: cannot be exceeded with the compiler and options named here",
	budget.Estimated: "estimated: from counts and published timings, or declared in the " +
		"job; docs/cost.md lists how far such estimates are off on networks that had no part in " +
		"the fit",
	budget.NotEstimated: "no estimate: there is none for the compiler and options that the job " +
		"names; kerf plan --measure measures with them",
}

// explainCost explains a row of the cost.
func explainCost(s *report.Signoff, c report.CostRow) explanation {
	names := costNames(c)
	text := resourceText[c.Resource]
	if other, ok := sampledText[c.Resource]; ok && isSampled(s, c.Target) {
		text = other
	}
	e := explanation{Row: budget.RowText(names...), Names: names,
		Meaning: text[0] + ", on target " + c.Target, Formula: text[1], Recordings: []string{},
		Kind: c.Kind, KindMeans: kindText[c.Kind], Limit: c.Limit, AtLeast: c.AtLeast,
		LimitFrom: c.From, Margin: c.Margin, Verdict: c.Verdict, Caution: report.Caution}
	if c.Part != budget.Total {
		e.Formula = "part of " + budget.RowText(names[:2]...)
		about := partText[c.Part]
		if c.Part == budget.CallPart && isOfFrontEnd(c) {
			about = callText
		}
		if about != "" {
			e.Meaning = fmt.Sprintf("%s, on target %s", about, c.Target)
		}
		if made := partFormula[c.Part]; made != "" {
			e.Formula = made + "; " + e.Formula
		}
	}
	if isOfFrontEnd(c) && c.Kind == budget.Estimated {
		e.KindMeans = "estimated: from counts and published timings; docs/cost.md, front ends, " +
			"says how far such estimates are off on front ends that had no part in the fit"
	}
	add := func(name string, v float64, kind budget.Kind) {
		e.Figures = append(e.Figures, figure{name, v, c.Unit, kind, report.Quantity(v, c.Unit)})
	}
	if c.Part == budget.Total {
		for _, p := range s.Cost {
			if p.Target == c.Target && p.Resource == c.Resource && p.Part != budget.Total &&
				p.Kind != budget.NotEstimated {
				add(strings.ReplaceAll(p.Part, "_", " "), p.Value, p.Kind)
			}
		}
	}
	for _, b := range behind[c.Resource] {
		for _, p := range s.Cost {
			if p.Target == c.Target && p.Resource == b.resource && p.Part == b.part &&
				p.Kind != budget.NotEstimated {
				name := strings.ReplaceAll(budget.RowText(costNames(p)[1:]...), "_", " ")
				e.Figures = append(e.Figures,
					figure{name, p.Value, p.Unit, p.Kind, report.Quantity(p.Value, p.Unit)})
			}
		}
	}
	switch {
	case c.Kind != budget.NotEstimated:
		add("value", c.Value, c.Kind)
		if s.HasEstimate(&c) {
			add("uncut", c.Before, c.Kind)
			e.facts = append(e.facts, []string{"uncut means", "for the whole network in the " +
				"widest formats that the job allows"})
		}
	case c.Known != nil && *c.Known > 0:
		add("at least", *c.Known, budget.Estimated)
	}
	if built := s.BuildText(c.Target); c.Compiler != "" && built != "" {
		e.facts = append(e.facts, []string{"compiler", built})
	}
	e.Sources = costSources(s, c)
	if c.Limit != nil {
		limit := report.Quantity(*c.Limit, c.Unit)
		if c.AtLeast {
			limit = "at least " + limit
		}
		e.facts = append(e.facts, []string{"limit", limit + ", set by " + c.From},
			used(c.Used(), "limit"))
	}
	e.Why = costWhy(c)
	return e
}

// costWhy returns how the verdict follows from value and limit.
func costWhy(c report.CostRow) string {
	switch {
	case c.Verdict == "":
		return "not judged: the job gives no limit on it"
	case c.Verdict == budget.NoEstimate:
		return "cannot be judged: there is no estimate for these flags"
	case c.Verdict == budget.Pass && c.AtLeast:
		return "the value is at or above the limit"
	case c.Verdict == budget.Pass:
		return "the value is at or below the limit"
	case c.AtLeast:
		return "the value is below the limit"
	case c.Kind == budget.NotEstimated:
		return "what no compiler changes is above the limit"
	}
	return "the value is above the limit"
}

// costSources lists what the figures of a row rest on.
func costSources(s *report.Signoff, c report.CostRow) []string {
	exact := "the emitted data: " + s.Name + "_weights.h and the sizes in " + s.Name + ".h"
	compiled := "networks"
	switch {
	case c.Part == budget.FrontTablesPart:
		exact = "the emitted data: the arrays of " + s.Name + "_front.c"
	case c.Part == budget.FrontStatePart:
		exact = strings.ToUpper(s.Name) + "_FRONT_BYTES in " + s.Name + ".h, which " + s.Name +
			"_front.c compares with sizeof when it is compiled"
	case isOfFrontEnd(c):
		compiled = "front ends"
	case isSampled(s, c.Target):
		exact += ", with the arrays of " + s.Name + "_front.c"
		compiled = "networks and front ends"
	}
	switch c.Kind {
	case budget.Exact:
		return []string{exact}
	case budget.NotEstimated:
		return []string{}
	}
	if c.Part == budget.FrontEndPart {
		return []string{"the job, [[front_end]] (declared by whoever wrote it)"}
	}
	if c.Part == budget.ConvertersPart {
		return []string{"the job, [channel.converter] (declared by whoever wrote it)"}
	}
	var sources []string
	if c.Resource == budget.Flash && c.Part == budget.Total {
		sources = append(sources, "weights and tables: "+exact)
	}
	p, err := targets.Load(c.Profile)
	if err != nil {
		return append(sources, fmt.Sprintf("profile %s of the job, which is none of the "+
			"built-in ones: %s", c.Profile, strings.Join(inputsOf(s, "profile"), ", ")))
	}
	origin := cost.EstimateOrigin(p.ISA)
	switch c.Resource {
	case budget.RAM:
		return append(sources, "state: "+exact, "front end: the job, [[front_end]]")
	case budget.Flash:
		return append(sources, "code: fitted to "+compiled+" compiled with "+origin.Compiler)
	case budget.Stack:
		return append(sources, "the compiler's account of frames, "+origin.Compiler)
	}
	sources = append(sources,
		fmt.Sprintf("instructions: %s, compiled with %s", origin.Counted, origin.Compiler),
		fmt.Sprintf("cycles of an instruction: profile %s, timing %s; kerf targets show %s "+
			"lists every figure with its document", p.Name, p.TimingKind, p.Name))
	switch c.Resource {
	case budget.Energy, budget.Current, budget.BatteryLife:
		sources = append(sources, "currents, voltage and battery: the job or its profile")
	}
	return sources
}

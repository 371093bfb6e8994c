package emit

import (
	"fmt"
	"slices"
	"strings"

	"kerf/frontend"
)

// FrontEnd is what computes features from samples, as a part of a [Program].
type FrontEnd struct {
	Integer *frontend.Integer
	Index   []int // of each of its features: the feature of the network
}

// front is a front end on its way to C.
type front struct {
	p        *Program
	integer  *frontend.Integer
	channels []frontChannel // the sampled ones, in the order of code[]
	folds    []frontFold    // of unlike shape
}

// frontChannel is a channel that features are computed of.
type frontChannel struct {
	*frontend.IntegerChannel
	index  int    // of the front end
	name   string // in C, behind the name of what is kept
	fold   int    // of front.folds, where it has one
	byKind map[frontend.Kind]bool
}

// frontFold is the shape of the sums of channels: the same code serves all of them.
type frontFold struct {
	*frontend.Fold
	prefix  string
	sumBits int
}

// newFront returns the front end of the program; nil without one.
func (p *Program) newFront() *front {
	if p.Front == nil {
		return nil
	}
	f := &front{p: p, integer: p.Front.Integer}
	first, of := f.integer.Shapes()
	for i, channel := range first {
		c := &f.integer.Channels[channel]
		f.folds = append(f.folds, frontFold{Fold: c.Fold, sumBits: c.SumBits(),
			prefix: fmt.Sprintf("net_fold%d_", i)})
	}
	for i := range f.integer.Channels {
		c := frontChannel{IntegerChannel: &f.integer.Channels[i], index: i,
			name:   strings.ToLower(macroPart(f.integer.Front.Channels[i].Name)),
			byKind: map[frontend.Kind]bool{}}
		used := false
		for _, feature := range f.integer.Front.Features {
			isOther := feature.Definition.Other != "" && feature.Other == i
			used = used || isOther || feature.Channel == i
			if feature.Channel == i {
				c.byKind[feature.Definition.Kind] = true
			}
		}
		if !used {
			continue
		}
		c.fold = of[i]
		f.channels = append(f.channels, c)
	}
	return f
}

// channelNames returns the names of the channels that are sampled.
func (p *Program) channelNames() []string {
	if p.Front == nil {
		return nil
	}
	var names []string
	for _, c := range p.Front.Integer.Front.Channels {
		names = append(names, c.Name)
	}
	return names
}

// samples returns N.
func (f *front) samples() int { return f.integer.Front.Sampling.Samples }

func isPowerOfTwo(v int) bool { return v&(v-1) == 0 }

// structMembers returns the members of name_front as C.
func (f *front) structMembers() string {
	var b strings.Builder
	places, fillers := f.integer.Places(), 0
	for _, m := range f.integer.Members() {
		name, note, ctype := string(m.Kind), "", m.Type()
		switch m.Kind {
		case frontend.KeptFull:
			ctype = "volatile " + ctype
			note = " /* what net_sample sets last and net_features clears last */"
		case frontend.KeptFiller:
			name, fillers = fmt.Sprint(name, fillers), fillers+1
			note = " /* makes places and size the same for every compiler */"
		case frontend.KeptPlace:
			name, places = fmt.Sprint(name, places[0]), places[1:]
		default:
			if m.Channel >= 0 {
				name += "_" + f.channelOf(m.Channel).name
			}
		}
		if m.Count > 1 {
			name += fmt.Sprintf("[%d]", m.Count)
		}
		fmt.Fprintf(&b, "    %s %s;%s\n", ctype, name, note)
	}
	return b.String()
}

// interfaceMacros returns the macros of NAME.h that are of the front end.
func (f *front) interfaceMacros() string {
	var b strings.Builder
	b.WriteString("\n/* Front end: converter codes to x[]. */\n")
	fmt.Fprintf(&b, "#define NET_N_CHANNELS %d /* codes of a sample */\n", len(f.channels))
	fmt.Fprintf(&b, "#define NET_WINDOW %d /* samples of a step */\n", f.samples())
	fmt.Fprintf(&b, "#define NET_SAMPLE_NS %.0fUL /* from one sample of a window to the next, in "+
		"nanoseconds; then none are taken until the period is over */\n",
		1e9/f.integer.Front.Sampling.Rate)
	fmt.Fprintf(&b, "#define NET_FRONT_BYTES %d /* RAM of net_front */\n", f.integer.StateBytes())
	for i, c := range f.channels {
		channel := &f.integer.Front.Channels[c.index]
		fmt.Fprintf(&b, "#define %s%s %d /* %d bits: 0 is %g, %d is %g %s */\n", codeMacro,
			macroPart(channel.Name), i, c.Bits, channel.Converter.Low, 1<<c.Bits-1,
			channel.Converter.High, commentText(channel.Unit))
	}
	var bits []string
	for _, c := range f.channels {
		bits = append(bits, fmt.Sprint(c.Bits))
	}
	fmt.Fprintf(&b, "#define NET_CODE_BITS { %s } /* of every channel */\n",
		strings.Join(bits, ", "))
	return b.String()
}

// given returns the features of the network that are not computed.
func (f *front) given() []int {
	var all []int
	for i := range f.p.Net.Features {
		if !slices.Contains(f.p.Front.Index, i) {
			all = append(all, i)
		}
	}
	return all
}

// source returns NAME_front.c. rom is the text of rom.h.
func (f *front) source(rom string) (string, error) {
	folds, err := f.foldCode()
	if err != nil {
		return "", err
	}
	marks, err := f.p.encodeMarks(map[string]string{
		"file": f.p.banner("features from converter codes, C99"), "rom": rom,
		"scales": f.scales(), "angles": f.angles(), "turns": turns(), "lists": f.lists(),
		"folds": folds, "sample": f.sample(), "clearing": f.clearing(),
		"features": f.features(), "reset": f.reset(),
		"encode": f.encodeOne(),
	})
	if err != nil {
		return "", err
	}
	marks["encode"] = strings.Replace(marks["encode"], "/*@value*/\n", marks["value"], 1)
	return f.p.template("front.c", marks)
}

// choices returns which routines the features need.
func (f *front) choices() map[string]int {
	c := map[string]int{"NET_FRONT": flag(f != nil)}
	for _, name := range []string{"LINES", "PHASE", "DISTORTION", "RATIO", "ROOT",
		"ROOT32", "RIPPLE", "LEADING", "SHIFTED", "RELATIVE", "RELATIVE64", "LIMIT", "FAR", "HIGH"} {
		c["NET_USES_"+name] = 0
	}
	c["NET_GIVEN"] = 0 // some features are not computed
	if f == nil {
		return c
	}
	c["NET_GIVEN"] = flag(len(f.given()) > 0)
	c["NET_USES_FAR"] = flag(f.isFar())
	c["NET_USES_HIGH"] = flag(f.integer.ListedBytes() > 1)
	for _, channel := range f.channels {
		c["NET_USES_LIMIT"] |= flag(channel.Bits < 16)
		for kind := range channel.byKind {
			switch kind {
			case frontend.Phase:
				c["NET_USES_PHASE"] = 1
			case frontend.Distortion:
				c["NET_USES_DISTORTION"], c["NET_USES_RATIO"], c["NET_USES_ROOT32"] = 1, 1, 1
			case frontend.RMS, frontend.Ripple:
				c["NET_USES_ROOT"] = 1
				c["NET_USES_RIPPLE"] |= flag(kind == frontend.Ripple)
			case frontend.Relative:
				if channel.BaseSteps > 0 {
					c["NET_USES_RELATIVE"], c["NET_USES_RATIO"] = 1, 1
					c["NET_USES_RELATIVE64"] |= flag(channel.RelativeBits(f.samples()) > 32)
				}
			}
		}
	}
	c["NET_USES_LINES"] = flag(len(f.folds) > 0)
	c["NET_USES_SHIFTED"] = c["NET_USES_LINES"] | c["NET_USES_RATIO"]
	c["NET_USES_LEADING"] = c["NET_USES_SHIFTED"]
	return c
}

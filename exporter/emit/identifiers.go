package emit

import (
	"fmt"
	"regexp"
	"strings"

	"kerf/dataset"
	"kerf/fault"
)

// maxPrefix keeps name_selftest within the 31 characters of an external identifier that C99
// 5.2.4.1 guarantees to be significant. Of name_encode_checked, which is longer, so much is within
// them that no other name is alike.
const maxPrefix = 31 - len("_selftest")

// maxMacro is the number of characters of a macro that C99 5.2.4.1 guarantees to be significant.
const maxMacro = 63

// reservedPattern matches the beginnings of external names that C99 7.26 keeps for its library, and
// the underscores that C++ keeps for itself.
var reservedPattern = regexp.MustCompile(`^(is|to|str|mem|wcs)[a-z]|__|_$`)

// prefixPattern matches lower-case C identifiers that begin with a letter.
var prefixPattern = regexp.MustCompile(`^[a-z][a-z0-9_]*$`)

// headerNames are the headers of C99 (7.1.2). A job of that name would emit a file that hides the
// header.
var headerNames = strings.Fields("assert complex ctype errno fenv float inttypes iso646 limits " +
	"locale math setjmp signal stdarg stdbool stddef stdint stdio stdlib string tgmath time " +
	"wchar wctype")

// CheckPrefix returns an error if a job's name cannot be the prefix of C identifiers and file
// names.
func CheckPrefix(name string) error {
	switch {
	case !prefixPattern.MatchString(name):
		return fault.New(fmt.Sprintf("the job's name %q is not a lower-case C identifier", name),
			"use letters a-z, digits and _, and begin with a letter, for example leakair")
	case len(name) > maxPrefix:
		return fault.New(fmt.Sprintf("the job's name %q has more than %d characters", name,
			maxPrefix), "C99 guarantees 31 significant characters of an external identifier, "+
			"and the emitted ones add up to 9")
	}
	if reservedPattern.MatchString(name) {
		return fault.New(fmt.Sprintf("the job's name %q would emit names that C or C++ reserves",
			name), "names beginning with is, to, str, mem or wcs and a letter belong to the C "+
			"library, double and trailing underscores to C++; put a word in front, for example "+
			"shaft_torque")
	}
	for _, header := range headerNames {
		if name == header {
			return fault.New(fmt.Sprintf("the job's name %q would emit %s.h, which hides a "+
				"standard header", name, name), "choose another name")
		}
	}
	return nil
}

// macroPart returns a text in upper-case letters and digits. Underscores stand for all else.
func macroPart(text string) string {
	var b strings.Builder
	for _, r := range strings.ToUpper(text) {
		if (r >= 'A' && r <= 'Z') || (r >= '0' && r <= '9') {
			b.WriteRune(r)
		} else {
			b.WriteByte('_')
		}
	}
	return b.String()
}

// Parts of the macros of NAME.h that are made from names in files.
const (
	featureMacro  = "NET_X_"
	outputMacro   = "NET_Y_"
	fractionMacro = "_FRACTION_BITS"
	oneMacro      = "_ONE"
	codeMacro     = "NET_CODE_"
	// of the value of a feature; the first is the longest
	valueFractionMacro = "_VALUE_FRACTION_BITS"
	valueMeanMacro     = "_VALUE_MEAN"
	valueStdMacro      = "_VALUE_STD"
	valueMinMacro      = "_VALUE_MIN"
	valueMaxMacro      = "_VALUE_MAX"
)

// maxFrontPrefix is maxPrefix for a job with channels, whose longest identifier is
// name_front_reset.
const maxFrontPrefix = 31 - len("_front_reset")

// CheckNames returns an error if the job, a feature, an output or a channel cannot be named in C,
// or if two of them would get the same name. channels are those that are sampled.
func CheckNames(job string, features []dataset.Feature, outputs []dataset.Output,
	channels []string) error {
	if err := CheckPrefix(job); err != nil {
		return err
	}
	if len(channels) > 0 && len(job) > maxFrontPrefix {
		return fault.New(fmt.Sprintf("the job's name %q has more than %d characters, and the job "+
			"samples channels", job, maxFrontPrefix), "C99 guarantees 31 significant characters "+
			"of an external identifier, and name_front_reset adds 12")
	}
	const ours = "a macro of kerf's own"
	owner := map[string]string{featureMacro + "FRACTION_BITS": ours, codeMacro + "BITS": ours}
	take := func(macro, name string) error {
		if other, taken := owner[macro]; taken {
			return fault.New(fmt.Sprintf("name clash in C: %s and %s both become %s", other, name,
				rename(macro, job)), "rename one of them in features.csv or outputs.csv and in "+
				"the recordings")
		}
		if full := rename(macro, job); len(full) > maxMacro {
			return fault.New(fmt.Sprintf("%s becomes the C macro %s, which has more than %d "+
				"characters", name, full, maxMacro), "C99 guarantees 63 significant characters "+
				"of a macro name; choose a shorter name")
		}
		owner[macro] = name
		return nil
	}
	for _, f := range features {
		macro := featureMacro + macroPart(f.Name)
		if err := take(macro, "feature "+f.Name); err != nil {
			return err
		}
		if len(channels) == 0 && len(rename(macro+valueFractionMacro, job)) > maxMacro {
			continue // firmware does without them
		}
		for _, suffix := range []string{valueFractionMacro, valueMeanMacro, valueStdMacro,
			valueMinMacro, valueMaxMacro} {
			if err := take(macro+suffix, "feature "+f.Name); err != nil {
				return err
			}
		}
	}
	for _, c := range channels {
		if err := take(codeMacro+macroPart(c), "channel "+c); err != nil {
			return err
		}
	}
	for _, o := range outputs {
		macro := outputMacro + macroPart(o.Name)
		if err := take(macro, "output "+o.Name); err != nil {
			return err
		}
		for _, suffix := range []string{fractionMacro, oneMacro} {
			if err := take(macro+suffix, "output "+o.Name); err != nil {
				return err
			}
		}
	}
	return nil
}

// commentText returns text from files in a form that is safe inside a C comment: it cannot end the
// comment, start another, continue a line, or hide characters.
func commentText(text string) string {
	var b strings.Builder
	last := rune(0)
	for _, r := range text {
		switch {
		case r < ' ' || r > '~':
			fmt.Fprintf(&b, "<U+%04X>", r)
		case r == '\\', r == '?' && last == '?', r == '/' && last == '*', r == '*' && last == '/':
			fmt.Fprintf(&b, "<U+%04X>", r)
		default:
			b.WriteRune(r)
		}
		last = r
	}
	return guarded.Replace(b.String())
}

// guarded keeps rename away from text that looks like our own prefix, see guard.
var guarded = strings.NewReplacer("net", "ne"+guard+"t", "NET", "NE"+guard+"T")

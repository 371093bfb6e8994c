package budget

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"kerf/dataset"
	"kerf/frontend"
	"kerf/targets"
)

// RawRule names recordings of raw samples, and says how samples become steps.
type RawRule struct {
	// These are samples of the selection recordings, in any format of recordings: sequence,
	// scenario, t in seconds, a column per channel, and as many rows for each step as a window has.
	// A sequence has samples for all of its steps, or for none. Required.
	Selection FileList `toml:"selection"`

	// These are samples of the sign-off recordings. Required.
	Signoff FileList `toml:"signoff"`

	// So many samples are taken in a second. Required.
	Rate Hertz `toml:"rate"`

	// A window has so many samples; there is one window a step. Required.
	Window int `toml:"window"`

	// This is the time between the first samples of two windows; between the last sample of one and
	// the first of the next nothing is sampled. Required.
	Period Seconds `toml:"period"`
}

// ChannelRule is one sampled channel.
type ChannelRule struct {
	// The name stands in the column `channel` of features.csv. Required.
	Name string `toml:"name"`

	// This column of the recordings of samples has the channel. Default: the name.
	Column string `toml:"column"`

	// The converter makes codes of samples: `{ low = "0 bar", high = "250 bar", bits = 12 }` has
	// the code 0 at 0 bar and 4095 at 250 bar. Required.
	Converter ConverterRule `toml:"converter"`

	// So many whole cycles of the fundamental stand in a window. Default: none; amplitudes, phases
	// and distortions need it.
	Cycles int `toml:"cycles"`

	// A feature `relative` compares with this number, in the unit of the channel, or with the mean
	// level of the steps up to this time after the start of a sequence, such as "2 s". Default:
	// none; such a feature needs it.
	Baseline *BaselineRule `toml:"baseline"`

	// Below this amplitude a phase or a distortion is 0, and below this baseline a feature
	// `relative`. Default: one step of the converter.
	Floor *Reading `toml:"floor"`
}

// ConverterRule is an analog-to-digital converter.
type ConverterRule struct {
	// This value has the first code. Required.
	Low *Reading `toml:"low"`

	// This value has the last code. Required.
	High *Reading `toml:"high"`

	// Codes have so many bits, 1 to 16. Required.
	Bits int `toml:"bits"`

	// A conversion takes this time. Default: not known, as `current`; energy and mean current leave
	// out what the converter takes, and a note says so.
	Time *Seconds `toml:"time"`

	// The converter draws this current during a conversion, besides that of the target. Default:
	// not known, as `time`.
	Current *Amperes `toml:"current"`
}

// charge is what a conversion takes, in C; ok reports whether the job says it.
func (c *ConverterRule) charge() (charge float64, ok bool) {
	if c.Time == nil || c.Current == nil {
		return 0, false
	}
	return float64(*c.Time) * float64(*c.Current), true
}

// Reading is a value with its unit, such as "250 bar".
type Reading struct {
	Value float64
	Unit  string
}

// UnmarshalTOML reads a text such as "250 bar".
func (r *Reading) UnmarshalTOML(v any) error {
	text, _ := v.(string)
	number, unit, _ := strings.Cut(strings.TrimSpace(text), " ")
	value, err := strconv.ParseFloat(number, 64)
	if err != nil || math.IsNaN(value) || math.IsInf(value, 0) || strings.TrimSpace(unit) == "" {
		return targets.BadValue(fmt.Sprint(v), "is no number with a unit", `for example "250 bar"`)
	}
	r.Value, r.Unit = value, strings.TrimSpace(unit)
	return nil
}

// BaselineRule is a number in the unit of its channel, or a time in seconds.
type BaselineRule frontend.Baseline

// UnmarshalTOML reads a number or a text such as "2 s".
func (b *BaselineRule) UnmarshalTOML(v any) error {
	switch v := v.(type) {
	case int64:
		b.Value = float64(v)
	case float64:
		b.Value = v
	case string:
		seconds, err := targets.ParseSeconds(v)
		var value Reading
		if err != nil && value.UnmarshalTOML(v) == nil {
			return targets.BadValue(v, "is neither a time nor a number alone", fmt.Sprintf(
				"baseline = %s if the channel is in %s; as a text it is a time such as \"2 s\"",
				strconv.FormatFloat(value.Value, 'g', -1, 64), value.Unit))
		}
		if err != nil {
			return err
		}
		b.Seconds = float64(seconds)
	}
	if b.Value == 0 && b.Seconds <= 0 || math.IsNaN(b.Value) || math.IsInf(b.Value, 0) {
		return targets.BadValue(fmt.Sprint(v), "is no baseline",
			`a number other than 0, in the unit of the channel, or a time such as "2 s"`)
	}
	return nil
}

// isSome reports whether a baseline in seconds takes a step or more, and no more than firmware
// counts.
func (b *BaselineRule) isSome(period Seconds) bool {
	steps := b.Seconds / float64(period)
	return steps > 1e-3 && steps <= math.MaxInt32
}

// checkRaw checks what the job says of samples, by itself.
func (j *Job) checkRaw() error {
	if j.Raw == nil {
		if len(j.Channels) > 0 {
			return j.at("add [raw] with the recordings of samples, or remove the channel",
				"a channel is sampled, but the job has no samples", "channel", 0)
		}
		return nil
	}
	r := j.Raw
	for _, need := range []struct {
		missing   bool
		key, hint string
	}{
		{len(r.Selection) == 0, "selection", `selection = "raw_selection.npz"`},
		{len(r.Signoff) == 0, "signoff", `signoff = "raw_signoff.npz"`},
		{r.Rate <= 0, "rate", `rate = "6.4 kHz"`},
		{r.Window == 0, "window", "window = 64"},
		{r.Period <= 0, "period", `period = "100 ms"`},
	} {
		if need.missing {
			return j.at("add "+need.hint, "raw."+need.key+" is missing, or 0", "raw", need.key)
		}
	}
	if r.Window < 1 || r.Window > frontend.MostSamples {
		return j.at(fmt.Sprintf("1 to %d", frontend.MostSamples),
			fmt.Sprintf("a window cannot have %d samples", r.Window), "raw", "window")
	}
	if takes := float64(r.Window) / float64(r.Rate); takes > float64(r.Period)*(1+1e-9) {
		return j.at("a longer period, a higher rate or a shorter window", fmt.Sprintf(
			"a window of %d samples takes %g s, and the next one begins after %g s", r.Window,
			takes, float64(r.Period)), "raw", "period")
	}
	if len(j.Channels) == 0 {
		return j.at(`[[channel]] name = "supply", converter = { low = "0 bar", high = "250 bar", `+
			`bits = 12 }`, "no channel is sampled", "raw")
	}
	seen := map[string]bool{}
	for i := range j.Channels {
		if err := j.checkChannel(i, seen); err != nil {
			return err
		}
	}
	return nil
}

// checkChannel checks one channel; seen are the names of those before it.
func (j *Job) checkChannel(i int, seen map[string]bool) error {
	c := &j.Channels[i]
	if msg := dataset.NameFault(c.Name); msg != "" {
		return j.badName(msg, "channel", i, "name")
	}
	low, high := c.Converter.Low, c.Converter.High
	if low != nil {
		if msg := dataset.NameFault(low.Unit); msg != "" {
			return j.badName(msg, "channel", i, "converter", "low")
		}
	}
	switch {
	case c.Name == "":
		return j.at("features.csv refers to it by this name", "the channel has no name", "channel",
			i)
	case dataset.IsKey(c.column()):
		return j.at("another column has the samples, in physical units", fmt.Sprintf(
			"%s tells sequence, scenario and time of recordings; it is no channel", c.column()),
			"channel", i, c.columnKey())
	case seen[c.Name]:
		return j.at("names must differ", "two channels are called "+c.Name, "channel", i, "name")
	case low == nil || high == nil || c.Converter.Bits == 0:
		return j.at(`for example converter = { low = "0 bar", high = "250 bar", bits = 12 }`,
			"the converter lacks low, high or bits", "channel", i, "converter")
	case c.Converter.Bits < 1 || c.Converter.Bits > 16:
		return j.at("1 to 16", fmt.Sprintf("a converter of %d bits is not computed with",
			c.Converter.Bits), "channel", i, "converter", "bits")
	case low.Unit != high.Unit || c.Floor != nil && c.Floor.Unit != low.Unit:
		return j.at("one unit for low, high and floor", "the channel has more than one unit",
			"channel", i)
	case !(high.Value > low.Value):
		return j.at("low has the code 0", fmt.Sprintf("high is %g, which is not above low, %g",
			high.Value, low.Value), "channel", i, "converter")
	case (c.Converter.Time == nil) != (c.Converter.Current == nil):
		return j.at(`for example time = "2 us", current = "1 mA"; without both its energy is left `+
			"out", "time and current of a conversion belong together", "channel", i, "converter")
	case c.Converter.Time != nil && float64(*c.Converter.Time) > 1/float64(j.Raw.Rate)*(1+1e-9):
		return j.at("a faster converter, or a lower rate", fmt.Sprintf("a conversion takes %g s, "+
			"and a sample is due every %g s", float64(*c.Converter.Time), 1/float64(j.Raw.Rate)),
			"channel", i, "converter", "time")
	case c.Floor != nil && c.Floor.Value <= 0:
		return j.at("above 0; without it one step of the converter",
			"a floor is an amplitude below which there is nothing to tell", "channel", i, "floor")
	case c.Baseline != nil && c.Baseline.Seconds > 0 && !c.Baseline.isSome(j.Raw.Period):
		return j.at("as long as the start of a sequence that a device may learn from",
			fmt.Sprintf("a baseline of %g s is no number of steps of %g s", c.Baseline.Seconds,
				float64(j.Raw.Period)), "channel", i, "baseline")
	case c.Cycles < 0 || c.Cycles >= (j.Raw.Window+1)/2 && c.Cycles > 0:
		return j.at(fmt.Sprintf("fewer than %d", (j.Raw.Window+1)/2), fmt.Sprintf(
			"%d cycles cannot be told in a window of %d samples", c.Cycles, j.Raw.Window),
			"channel", i, "cycles")
	}
	seen[c.Name] = true
	return nil
}

// channel is what the rule says.
func (c *ChannelRule) channel() frontend.Channel {
	made := frontend.Channel{Name: c.Name, Unit: c.Converter.Low.Unit, Cycles: c.Cycles,
		Converter: frontend.Converter{Low: c.Converter.Low.Value, High: c.Converter.High.Value,
			Bits: c.Converter.Bits}}
	made.Floor = made.Converter.Step()
	if c.Floor != nil {
		made.Floor = c.Floor.Value
	}
	if c.Baseline != nil {
		made.Baseline = frontend.Baseline(*c.Baseline)
	}
	return made
}

// column is that of the recordings of samples.
func (c *ChannelRule) column() string {
	if c.Column != "" {
		return c.Column
	}
	return c.Name
}

// columnKey is the key of the job that names it.
func (c *ChannelRule) columnKey() string {
	if c.Column != "" {
		return "column"
	}
	return "name"
}

// sampling is how samples follow each other.
func (r *RawRule) sampling() dataset.Sampling {
	return dataset.Sampling{Samples: r.Window, Rate: float64(r.Rate), Period: float64(r.Period)}
}

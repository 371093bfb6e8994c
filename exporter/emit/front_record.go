package emit

import (
	"fmt"
	"math"
	"slices"

	"kerf/dataset"
	"kerf/frontend"
	"kerf/quant"
)

// FrontRecord is the front end in NAME_network.json, from which it follows with the features of the
// network.
type FrontRecord struct {
	Samples  int              `json:"samples"` // of a window
	Rate     float64          `json:"rate"`    // samples per second
	Period   float64          `json:"period"`  // s between two windows
	Channels []ChannelRecord  `json:"channels"`
	Features []ComputedRecord `json:"features"`
	Recorded [][][]uint16     `json:"recorded"` // codes for the self-test: windows, channels, codes
	Windows  []WindowRecord   `json:"windows"`  // of the self-test
}

// ChannelRecord is a sampled channel.
type ChannelRecord struct {
	Name            string  `json:"name"`
	Unit            string  `json:"unit"`
	Low             float64 `json:"low"`
	High            float64 `json:"high"`
	Bits            int     `json:"bits"`
	Cycles          int     `json:"cycles"`
	Floor           float64 `json:"floor"`
	BaselineValue   float64 `json:"baseline_value"`
	BaselineSeconds float64 `json:"baseline_seconds"`
}

// ComputedRecord is a feature that is computed from samples.
type ComputedRecord struct {
	Feature  int     `json:"feature"` // of the network
	Channel  int     `json:"channel"`
	Computed string  `json:"computed"`
	Scale    float64 `json:"scale"`
	Offset   float64 `json:"offset"`
	Wrap     bool    `json:"wrap"`
}

// WindowRecord is a window of the self-test, see [FrontWindow].
type WindowRecord struct {
	Reset bool    `json:"reset"`
	Wave  Wave    `json:"wave"`
	Of    int     `json:"of"`
	Seed  uint16  `json:"seed"`
	Skip  int     `json:"skip"`
	X     []int32 `json:"x,omitempty"`
	Y     []int32 `json:"y,omitempty"`
	Sum   uint32  `json:"sum"`
}

// NewFrontEnd returns a front end that gives features to a network; index has the feature of the
// network for each of its own.
func NewFrontEnd(f *frontend.FrontEnd, index []int, net *quant.Network) *FrontEnd {
	var encodings []frontend.Encoding
	for _, i := range index {
		encodings = append(encodings, frontend.Encoding{Mean: net.Features[i].Mean,
			Std: net.Features[i].Std, FractionBits: net.InputFraction})
	}
	return &FrontEnd{Integer: frontend.NewInteger(f, encodings), Index: index}
}

// frontRecord returns the front end as data; nil without one.
func (p *Program) frontRecord() *FrontRecord {
	if p.Front == nil {
		return nil
	}
	front := p.Front.Integer.Front
	r := &FrontRecord{Samples: front.Sampling.Samples, Rate: front.Sampling.Rate,
		Period: front.Sampling.Period}
	for i := range front.Channels {
		r.Channels = append(r.Channels, channelRecord(front, i))
	}
	for i, f := range front.Features {
		wraps := f.Wrap && f.Definition.Kind == frontend.Phase && f.Offset != 0
		r.Features = append(r.Features, ComputedRecord{p.Front.Index[i], f.Channel,
			f.Definition.String(), f.Scale, f.Offset, wraps})
	}
	r.Recorded = p.FrontVectors.Recorded
	for _, w := range p.FrontVectors.Windows {
		r.Windows = append(r.Windows, WindowRecord(w))
	}
	return r
}

// channelRecord returns a channel as data. What no feature needs is 0, so that everything in the
// record shows in the C.
func channelRecord(front *frontend.FrontEnd, channel int) ChannelRecord {
	c := front.Channels[channel]
	r := ChannelRecord{Name: c.Name, Unit: c.Unit, Low: c.Converter.Low, High: c.Converter.High,
		Bits: c.Converter.Bits}
	for _, f := range front.Features {
		if !f.Needs(channel) {
			continue
		}
		switch kind := f.Definition.Kind; {
		case kind == frontend.Relative && c.Baseline.Seconds > 0:
			r.BaselineSeconds, r.Floor = c.Baseline.Seconds, c.Floor
		case kind == frontend.Relative:
			r.BaselineValue = c.Baseline.Value
		case f.Definition.Order > 0:
			r.Cycles = c.Cycles
			if kind != frontend.Amplitude {
				r.Floor = c.Floor
			}
		}
	}
	return r
}

// FrontEnd returns the front end of a network and its self-test; nil without one. It is an error if
// it is none that kerf makes.
func (f *NetworkFile) FrontEnd(net *quant.Network) (*FrontEnd, FrontVectors, error) {
	r := f.Front
	if r == nil {
		return nil, FrontVectors{}, nil
	}
	if f.Period != 0 && r.Period != f.Period {
		return nil, FrontVectors{}, fmt.Errorf("the front end has a window every %g s, the "+
			"network a step every %g s", r.Period, f.Period)
	}
	front, index, err := r.frontEnd(net)
	if err != nil {
		return nil, FrontVectors{}, err
	}
	made := NewFrontEnd(front, index, net)
	vectors, err := r.vectors(made.Integer, net)
	return made, vectors, err
}

// frontEnd returns what the record says, which is checked so far that computing with it cannot
// fail.
func (r *FrontRecord) frontEnd(net *quant.Network) (*frontend.FrontEnd, []int, error) {
	if r.Samples < 1 || r.Samples > frontend.MostSamples || !(r.Rate > 0) || !(r.Period > 0) ||
		len(r.Channels) == 0 || len(r.Features) == 0 {
		return nil, nil, fmt.Errorf("the front end has no window, channel or feature")
	}
	front := &frontend.FrontEnd{Sampling: dataset.Sampling{Samples: r.Samples, Rate: r.Rate,
		Period: r.Period}}
	var names []string
	for _, c := range r.Channels {
		if c.Bits < 1 || c.Bits > 16 || !(c.High > c.Low) || c.Cycles < 0 ||
			c.Cycles > r.Samples ||
			!(c.Floor >= 0) || !(c.BaselineSeconds >= 0) ||
			c.BaselineSeconds > float64(math.MaxInt32)*r.Period || slices.Contains(names, c.Name) {
			return nil, nil, fmt.Errorf("channel %q of the front end cannot be", c.Name)
		}
		names = append(names, c.Name)
		front.Channels = append(front.Channels, frontend.Channel{Name: c.Name, Unit: c.Unit,
			Converter: frontend.Converter{Low: c.Low, High: c.High, Bits: c.Bits}, Cycles: c.Cycles,
			Floor:    c.Floor,
			Baseline: frontend.Baseline{Value: c.BaselineValue, Seconds: c.BaselineSeconds}})
	}
	var index []int
	for _, c := range r.Features {
		d, err := frontend.ParseDefinition(c.Computed)
		if err != nil {
			return nil, nil, fmt.Errorf("a feature of the front end: %w", err)
		}
		if c.Feature < 0 || c.Feature >= len(net.Features) || slices.Contains(index, c.Feature) ||
			c.Channel < 0 || c.Channel >= len(names) || c.Scale == 0 {
			return nil, nil, fmt.Errorf("a feature of the front end is none of the network")
		}
		made := frontend.Feature{Name: net.Features[c.Feature].Name, Definition: d,
			Channel: c.Channel, Other: slices.Index(names, d.Other), Scale: c.Scale,
			Offset: c.Offset, Wrap: c.Wrap}
		if d.Other == "" {
			made.Other = 0
		}
		cycles := front.Channels[c.Channel].Cycles
		if made.Other < 0 || d.Order > 0 && (cycles == 0 || 2*d.Order*cycles >= r.Samples) ||
			d.Other != "" && front.Channels[made.Other].Cycles != cycles {
			return nil, nil, fmt.Errorf("the front end cannot compute %s", c.Computed)
		}
		index = append(index, c.Feature)
		front.Features = append(front.Features, made)
	}
	return front, index, nil
}

// vectors returns the self-test.
func (r *FrontRecord) vectors(n *frontend.Integer, net *quant.Network) (FrontVectors, error) {
	v := FrontVectors{Recorded: r.Recorded}
	if len(r.Recorded) > firstWave || len(r.Windows) > windowBytes/windowRowBytes {
		return v, fmt.Errorf("the self-test has more windows than kerf makes")
	}
	for i, recorded := range r.Recorded {
		fits := len(recorded) == len(n.Channels)
		for c := 0; fits && c < len(recorded); c++ {
			length := len(recorded[c])
			fits = length > 0 && length <= r.Samples && length == len(r.Recorded[0][0]) &&
				int(slices.Max(recorded[c])) < 1<<n.Channels[c].Bits
		}
		if !fits {
			return v, fmt.Errorf("recorded window %d of the self-test does not fit the front end",
				i)
		}
	}
	skipped := 0
	for i, w := range r.Windows {
		made := FrontWindow(w)
		skipped += w.Skip
		stepped := len(w.X) == len(net.Features) && len(w.Y) == len(net.Outputs) && w.Sum == 0
		fits := (stepped || w.X == nil && w.Y == nil) && (i > 0 || w.Reset) &&
			w.Skip >= 0 && skipped <= mostSkipped &&
			skipped*r.Samples <= mostSamples && (w.Skip == 0 || w.Seed == 0)
		// the C runs the network on the first ones
		fits = fits && (i == 0 || !stepped || r.Windows[i-1].Y != nil)
		if w.Wave == Recorded {
			fits = fits && w.Of >= 0 && w.Of < len(r.Recorded)
		} else {
			fits = fits && w.Of == 0 && slices.Contains(waves, w.Wave)
		}
		for _, x := range w.X {
			fits = fits && x == int32(int16(x))
		}
		if !fits {
			return v, fmt.Errorf("window %d of the self-test does not fit the front end", i)
		}
		v.Windows = append(v.Windows, made)
	}
	return v, nil
}

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
	Windows  []WindowRecord   `json:"windows"` // of the self-test
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

// WindowRecord is a window of the self-test.
type WindowRecord struct {
	Reset bool       `json:"reset"`
	Wave  Wave       `json:"wave"`
	Codes [][]uint16 `json:"codes,omitempty"` // per channel, of a recorded window
	X     []int32    `json:"x"`
	Y     []int32    `json:"y"`
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
	for _, c := range front.Channels {
		r.Channels = append(r.Channels, ChannelRecord{c.Name, c.Unit, c.Converter.Low,
			c.Converter.High, c.Converter.Bits, c.Cycles, c.Floor, c.Baseline.Value,
			c.Baseline.Seconds})
	}
	for i, f := range front.Features {
		r.Features = append(r.Features, ComputedRecord{p.Front.Index[i], f.Channel,
			f.Definition.String(), f.Scale, f.Offset, f.Wrap})
	}
	for _, w := range p.Windows {
		record := WindowRecord(w)
		if w.Wave != Recorded {
			record.Codes = nil
		}
		r.Windows = append(r.Windows, record)
	}
	return r
}

// FrontEnd returns the front end of a network and the windows of its self-test; nil without one. It
// is an error if it is none that kerf makes.
func (f *NetworkFile) FrontEnd(net *quant.Network) (*FrontEnd, []FrontWindow, error) {
	r := f.Front
	if r == nil {
		return nil, nil, nil
	}
	front, index, err := r.frontEnd(net)
	if err != nil {
		return nil, nil, err
	}
	made := NewFrontEnd(front, index, net)
	windows, err := r.windows(made.Integer, net)
	return made, windows, err
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

// windows returns the windows of the self-test.
func (r *FrontRecord) windows(n *frontend.Integer, net *quant.Network) ([]FrontWindow, error) {
	var windows []FrontWindow
	for i, w := range r.Windows {
		made := FrontWindow(w)
		if w.Wave != Recorded {
			made.Codes = w.Wave.codesOf(n)
		}
		fits := len(w.X) == len(net.Features) && len(w.Y) == len(net.Outputs) &&
			len(made.Codes) == len(n.Channels) && (i > 0 || w.Reset)
		for c, codes := range made.Codes {
			fits = fits && c < len(n.Channels) && len(codes) == r.Samples &&
				int(slices.Max(codes)) < 1<<n.Channels[c].Bits
		}
		for _, x := range w.X {
			fits = fits && x == int32(int16(x))
		}
		if !fits || !slices.Contains([]Wave{Recorded, Square, Still}, w.Wave) {
			return nil, fmt.Errorf("window %d of the self-test does not fit the front end", i)
		}
		windows = append(windows, made)
	}
	return windows, nil
}

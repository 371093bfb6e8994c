package emit

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"

	"kerf/dataset"
	"kerf/model"
	"kerf/quant"
)

// NetworkSchema is the version of NAME_network.json.
const NetworkSchema = 1

// NetworkSuffix ends the name of the file that holds a [NetworkFile].
const NetworkSuffix = "_network.json"

// NetworkFile is NAME_network.json: the integer network and the steps of the
// self-test as data, from which the C can be emitted again and the steps run
// again without the job.
type NetworkFile struct {
	Schema        int               `json:"schema"`
	ModelVersion  string            `json:"model_version,omitempty"`
	ValuesCRC     string            `json:"values_crc32,omitempty"`
	Period        float64           `json:"period"` // s between two steps; 0: not known
	InputFraction int               `json:"input_fraction_bits"`
	Classes       bool              `json:"classes"` // outputs are scores of classes
	Features      []FeatureRecord   `json:"features"`
	Outputs       []OutputRecord    `json:"outputs"`
	Layers        []RecurrentRecord `json:"layers"`
	Dense         []DenseRecord     `json:"dense"`
	Steps         []StepRecord      `json:"steps"`
	Front         *FrontRecord      `json:"front_end,omitempty"` // computes features from samples
}

// FeatureRecord is one input: its integer is (physical - mean)/std ·
// 2^input_fraction_bits, rounded.
type FeatureRecord struct {
	Name string  `json:"name"`
	Unit string  `json:"unit"`
	Mean float64 `json:"mean"`
	Std  float64 `json:"std"`
	// of the recordings that the formats come from
	Recorded *Range `json:"recorded,omitempty"`
}

// OutputRecord is one output: its physical value is the integer / 2^fraction_bits.
type OutputRecord struct {
	Name         string `json:"name"`
	Unit         string `json:"unit"`
	FractionBits int    `json:"fraction_bits"`
}

// RecurrentRecord is one recurrent layer, gate blocks in the order of model.Kind.
type RecurrentRecord struct {
	Cell           string       `json:"cell"`
	Units          int          `json:"units"`
	StateBits      int          `json:"state_bits"`
	InputFraction  int          `json:"input_fraction_bits"`
	OutputFraction int          `json:"output_fraction_bits"`
	GateFraction   int          `json:"gate_fraction_bits"`
	CellFraction   int          `json:"cell_fraction_bits"`
	Input          MatrixRecord `json:"weight_ih"`
	Recurrent      MatrixRecord `json:"weight_hh"`
}

// DenseRecord is one dense layer.
type DenseRecord struct {
	Activation    string       `json:"activation"`
	InputFraction int          `json:"input_fraction_bits"`
	Fraction      int          `json:"fraction_bits"`
	Scale         []int32      `json:"scale,omitempty"`
	Offset        []int32      `json:"offset,omitempty"`
	Weights       MatrixRecord `json:"weight"`
}

// MatrixRecord is one weight matrix with its bias.
type MatrixRecord struct {
	Name          string    `json:"name"`
	WordBits      int       `json:"word_bits"`
	InputFraction int       `json:"input_fraction_bits"`
	Weights       [][]int32 `json:"weights"` // by row
	Bias          []int32   `json:"bias"`    // at the scale of the accumulator
	Fraction      []int     `json:"fraction_bits"`
	Shift         []int     `json:"shift"` // 0: the accumulator is the result
}

// StepRecord is one step of the self-test.
type StepRecord struct {
	Reset bool    `json:"reset"`
	X     []int32 `json:"x"`
	Y     []int32 `json:"y"`
}

// matrixRecord returns a matrix as data.
func matrixRecord(m *quant.Matrix) MatrixRecord {
	r := MatrixRecord{Name: m.Name, WordBits: m.WordBits, InputFraction: m.InputFraction,
		Bias: m.Bias, Fraction: m.Fraction}
	for row := range m.Rows {
		r.Weights = append(r.Weights, m.W[row*m.Cols:(row+1)*m.Cols])
		r.Shift = append(r.Shift, int(m.Shift[row]))
	}
	return r
}

// NetworkJSON returns NAME_network.json.
func (p *Program) NetworkJSON() ([]byte, error) { return Indented(p.networkFile()) }

// networkFile returns what NAME_network.json holds.
func (p *Program) networkFile() *NetworkFile {
	net := p.Net
	f := &NetworkFile{Schema: NetworkSchema, ModelVersion: p.ModelVersion, Period: p.Period,
		ValuesCRC: fmt.Sprintf("0x%08X", valuesCRC(net)), InputFraction: net.InputFraction,
		Classes: net.Classes}
	for i, x := range net.Features {
		record := FeatureRecord{Name: x.Name, Unit: x.Unit, Mean: x.Mean, Std: x.Std}
		if p.Ranges != nil {
			record.Recorded = &p.Ranges[i]
		}
		f.Features = append(f.Features, record)
	}
	for o, y := range net.Outputs {
		f.Outputs = append(f.Outputs, OutputRecord{y.Name, y.Unit, net.OutputFraction(o)})
	}
	for _, l := range net.Layers {
		f.Layers = append(f.Layers,
			RecurrentRecord{l.Kind.String(), l.Units, l.Formats.StateBits, l.InputFraction,
				l.OutputFraction, l.GateFraction, l.CellFraction, matrixRecord(l.Input),
				matrixRecord(l.Recurrent)})
	}
	for _, d := range net.Dense {
		f.Dense = append(f.Dense, DenseRecord{d.Activation.String(), d.InputFraction, d.Fraction,
			d.Scale, d.Offset, matrixRecord(d.Weights)})
	}
	for _, v := range p.Vectors {
		f.Steps = append(f.Steps, StepRecord(v))
	}
	f.Front = p.frontRecord()
	return f
}

// ReadNetworkFile reads NAME_network.json. The text must be exactly what kerf writes for its
// content. The error says what is wrong, without the file's name.
func ReadNetworkFile(text []byte) (*NetworkFile, error) {
	f := &NetworkFile{}
	if err := json.Unmarshal(text, f); err != nil {
		return nil, fmt.Errorf("it cannot be read: %w", err)
	}
	if f.Schema != NetworkSchema {
		return nil, fmt.Errorf("it has schema %d, this kerf reads %d", f.Schema, NetworkSchema)
	}
	again, err := Indented(f)
	if err == nil && !bytes.Equal(again, text) {
		err = fmt.Errorf("its text is not what kerf writes for its content")
	}
	return f, err
}

// Network rebuilds the integer network. Shapes, words and the bound of every accumulator are
// checked, so that running it cannot fail or overflow. The error says what is wrong, without the
// file's name.
func (f *NetworkFile) Network() (*quant.Network, error) {
	net := &quant.Network{InputFraction: f.InputFraction, Classes: f.Classes}
	for i, x := range f.Features {
		net.Features = append(net.Features,
			dataset.Feature{Name: x.Name, Unit: x.Unit, Mean: x.Mean, Std: x.Std})
		net.Columns = append(net.Columns, i)
	}
	for _, y := range f.Outputs {
		net.Outputs = append(net.Outputs, dataset.Output{Name: y.Name, Unit: y.Unit})
	}
	for _, r := range f.Layers {
		kind, ok := model.KindNamed(r.Cell)
		if !ok {
			return nil, fmt.Errorf("unknown cell %q", r.Cell)
		}
		l := &quant.Layer{Kind: kind, Units: r.Units, InputFraction: r.InputFraction,
			OutputFraction: r.OutputFraction, GateFraction: r.GateFraction,
			CellFraction: r.CellFraction}
		l.Formats = quant.LayerFormats{InputBits: r.Input.WordBits,
			RecurrentBits: r.Recurrent.WordBits, StateBits: r.StateBits}
		l.Input, l.Recurrent = r.Input.matrix(), r.Recurrent.matrix()
		net.Layers = append(net.Layers, l)
		net.Formats.Layers = append(net.Formats.Layers, l.Formats)
	}
	for i, r := range f.Dense {
		activation, ok := model.ActivationNamed(r.Activation)
		if !ok {
			return nil, fmt.Errorf("unknown activation %q", r.Activation)
		}
		d := &quant.DenseLayer{Activation: activation, Weights: r.Weights.matrix(),
			InputFraction: r.InputFraction, Fraction: r.Fraction, Scale: r.Scale, Offset: r.Offset,
			Last: i == len(f.Dense)-1}
		if d.Last {
			for _, y := range f.Outputs {
				d.Out = append(d.Out, y.FractionBits)
			}
		}
		net.Dense = append(net.Dense, d)
		net.Formats.Dense = append(net.Formats.Dense, r.Weights.WordBits)
	}
	if err := net.Check(); err != nil {
		return nil, err
	}
	if crc := fmt.Sprintf("0x%08X", valuesCRC(net)); f.ValuesCRC != "" && f.ValuesCRC != crc {
		return nil, fmt.Errorf("values_crc32 is %q, that of its values is %s", f.ValuesCRC, crc)
	}
	return net, nil
}

// matrix returns the matrix that the record holds.
func (r *MatrixRecord) matrix() *quant.Matrix {
	m := &quant.Matrix{Name: r.Name, Rows: len(r.Weights), WordBits: r.WordBits,
		InputFraction: r.InputFraction, Bias: r.Bias, Fraction: r.Fraction}
	for i, row := range r.Weights {
		if i == 0 {
			m.Cols = len(row)
		}
		m.W = append(m.W, row...)
	}
	for _, s := range r.Shift {
		m.Shift = append(m.Shift, uint8(min(max(s, 0), math.MaxUint8)))
	}
	return m
}

// Vectors returns the steps of the self-test. It is an error if one does not fit the network.
func (f *NetworkFile) Vectors() ([]VectorStep, error) {
	var steps []VectorStep
	for i, s := range f.Steps {
		if len(s.X) != len(f.Features) || len(s.Y) != len(f.Outputs) || (i == 0 && !s.Reset) {
			return nil, fmt.Errorf("step %d of the self-test does not fit the network", i)
		}
		for _, x := range s.X {
			if x != int32(int16(x)) {
				return nil, fmt.Errorf("step %d of the self-test: the input %d is no int16", i, x)
			}
		}
		steps = append(steps, VectorStep(s))
	}
	return steps, nil
}

// Ranges returns the ranges of the features in recordings; nil where they are not known.
func (f *NetworkFile) Ranges() ([]Range, error) {
	var all []Range
	for _, x := range f.Features {
		if x.Recorded != nil {
			all = append(all, *x.Recorded)
		}
	}
	if len(all) != 0 && len(all) != len(f.Features) {
		return nil, fmt.Errorf("some features have a recorded range, others have none")
	}
	return all, nil
}

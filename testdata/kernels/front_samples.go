package main

import (
	"fmt"
	"math/rand/v2"
	"strings"

	"kerf/dataset"
	"kerf/exporter/emit"
	"kerf/frontend"
	"kerf/quant"
	"kerf/testdata/randomfront"
	"kerf/testdata/randomnet"
)

// frontSample is one front end to measure, with a small network behind it.
type frontSample struct {
	front  *frontend.Integer
	given  int   // features that are not computed
	bits   []int // of the converters
	isHeld bool  // judges the fit and has no part in it
	files  map[string][]byte
	text   string // for records
}

// Numbers of front ends in the fit and of those that judge it, and the seeds from which they are
// drawn. frontHeldSeed was written down when the form of the estimate was settled, before any front
// end that judges was measured.
const (
	frontFitted     = 128
	frontHeld       = 30
	frontFittedSeed = 1806
	frontHeldSeed   = 20261201
	mostFeatures    = 10
)

// frontSamples draws the front ends of the fit, or those that judge it: up to three channels and
// ten features of all kinds, windows of 7 to 400 samples. A tenth of the fit has a single feature.
func frontSamples(judged bool) ([]*frontSample, error) {
	n, seed := frontFitted, uint64(frontFittedSeed)
	if judged {
		n, seed = frontHeld, frontHeldSeed
	}
	random := rand.New(rand.NewPCG(seed, 18))
	var all []*frontSample
	for i := range n {
		channels, features := 1+random.IntN(3), 1+random.IntN(mostFeatures)
		if !judged && i%10 == 0 {
			channels, features = 1, 1
		}
		front, encodings := withoutCopies(randomfront.FrontEnd(random, channels, features))
		s, err := newFrontSample(random, front, encodings)
		if err != nil {
			return nil, fmt.Errorf("front end %d: %w", i, err)
		}
		s.isHeld = judged
		all = append(all, s)
	}
	return all, nil
}

// withoutCopies leaves one of features that are the same but for scale and offset: compilers make
// what two have in common once.
func withoutCopies(f *frontend.FrontEnd, encodings []frontend.Encoding) (*frontend.FrontEnd,
	[]frontend.Encoding) {
	type made struct {
		channel    int
		definition frontend.Definition
	}
	seen := map[made]bool{}
	var kept []int
	var of []frontend.Encoding
	for i := range f.Features {
		key := made{f.Features[i].Channel, f.Features[i].Definition}
		if !seen[key] {
			seen[key], kept, of = true, append(kept, i), append(of, encodings[i])
		}
	}
	return f.Only(kept), of
}

// newFrontSample emits the C of a front end and of a network of three units behind it.
func newFrontSample(random *rand.Rand, front *frontend.FrontEnd,
	encodings []frontend.Encoding) (*frontSample, error) {
	s := &frontSample{front: frontend.NewInteger(front, encodings), given: random.IntN(3)}
	for _, c := range front.Channels {
		s.bits = append(s.bits, c.Converter.Bits)
	}
	var words []string
	for i := range front.Features {
		words = append(words, front.Features[i].Definition.String())
	}
	s.text = fmt.Sprintf("%d samples, %d channels: %s", front.Sampling.Samples, len(s.bits),
		strings.Join(words, " "))
	n := len(front.Features) + s.given
	float := randomnet.Network(random, n, randomnet.OneGRU, 1)
	rec := randomnet.Recordings(random, float)
	net, err := quant.Quantize(float, quant.Calibrate(float, rec),
		quant.Uniform(float.Net, 8, 16, 16), quant.Nearest)
	if err != nil {
		return nil, err
	}
	p := &emit.Program{Name: "net", Version: "sample", JobHash: strings.Repeat("0", 64),
		VerdictLine: "sample", Description: float.Net.String(), Net: net}
	for _, l := range net.Layers {
		p.KeptUnits = append(p.KeptUnits, make([]int, l.Units))
	}
	p.Vectors = emit.Vectors(net, rec)
	p.Front = &emit.FrontEnd{Integer: s.front}
	for i := range front.Features {
		net.Features[i] = dataset.Feature{Name: front.Features[i].Name, Unit: "bar",
			Mean: encodings[i].Mean, Std: encodings[i].Std}
		p.Front.Index = append(p.Front.Index, i)
	}
	for i := range s.given {
		net.Features[len(front.Features)+i].Name = fmt.Sprintf("given%d", i)
	}
	s.files, err = p.CFiles()
	return s, err
}

package quant

import (
	"bytes"
	"io"
	"math"
	"os"
	"path/filepath"
	"sync"
	"testing"

	"kerf/dataset"
	"kerf/model"
	"kerf/testdata/demo"
	"kerf/testdata/slow"
)

// accuracyJob is a float network with its recordings, calibrated on the selection recordings. The
// tests judge on the sign-off recordings.
type accuracyJob struct {
	name        string
	p           *dataset.Float
	calibration Calibration
	selection   *dataset.Recordings
	signoff     *dataset.Recordings
	float       [][]float64 // outputs of p on signoff, per sequence
}

// accuracyJobs are the three jobs, read once.
var accuracyJobs = sync.OnceValues(func() ([]*accuracyJob, error) {
	var all []*accuracyJob
	for _, source := range []struct {
		name  string
		files func() (map[string][]byte, error)
	}{{"demo", demo.Files}, {"city-weather", cityWeatherFiles}, {"slow", slow.Files}} {
		files, err := source.files()
		if err != nil {
			return nil, err
		}
		j, err := readAccuracyJob(source.name, files)
		if err != nil {
			return nil, err
		}
		all = append(all, j)
	}
	return all, nil
})

func jobs(t *testing.T) (demoJob, city, slowJob *accuracyJob) {
	t.Helper()
	all, err := accuracyJobs()
	if err != nil {
		t.Fatal(err)
	}
	return all[0], all[1], all[2]
}

func cityWeatherFiles() (map[string][]byte, error) {
	files := map[string][]byte{}
	for _, name := range []string{"features.csv", "outputs.csv", "model.safetensors",
		"selection.csv", "signoff.csv"} {
		content, err := os.ReadFile(filepath.Join("..", "testdata", "cityweather", name))
		if err != nil {
			return nil, err
		}
		files[name] = content
	}
	return files, nil
}

func readAccuracyJob(name string, files map[string][]byte) (*accuracyJob, error) {
	features, err := dataset.ReadFeatures(bytes.NewReader(files["features.csv"]), "features.csv")
	if err != nil {
		return nil, err
	}
	outputs, err := dataset.ReadOutputs(bytes.NewReader(files["outputs.csv"]), "outputs.csv")
	if err != nil {
		return nil, err
	}
	weights := files["model.safetensors"]
	tensors, err := model.ReadSafetensors(bytes.NewReader(weights), int64(len(weights)),
		"model.safetensors")
	if err != nil {
		return nil, err
	}
	net, err := model.FromTorch("model.safetensors", tensors, model.Spec{})
	if err != nil {
		return nil, err
	}
	j := &accuracyJob{name: name, p: dataset.NewFloat(net, features, outputs)}
	selection, err := j.read(bytes.NewReader(files["selection.csv"]))
	if err != nil {
		return nil, err
	}
	j.selection = selection
	j.calibration = Calibrate(j.p, selection)
	return j.judgedOn(bytes.NewReader(files["signoff.csv"]))
}

// read reads recordings of the job.
func (j *accuracyJob) read(r io.Reader) (*dataset.Recordings, error) {
	return dataset.ReadCSV(r, j.name, dataset.FeatureNames(j.p.Features),
		dataset.Reference{Outputs: dataset.OutputNames(j.p.Outputs)})
}

// judgedOn returns the job with the given sign-off recordings.
func (j *accuracyJob) judgedOn(signoff io.Reader) (*accuracyJob, error) {
	judged := *j
	var err error
	if judged.signoff, err = j.read(signoff); err != nil {
		return nil, err
	}
	judged.float = make([][]float64, len(judged.signoff.Sequences))
	for i, s := range judged.signoff.Sequences {
		judged.float[i] = make([]float64, len(s.Y))
		j.p.Predict(s, judged.float[i])
	}
	return &judged, nil
}

// fixed brings the network to fixed point with an int16 head. The recurrent weights may have any
// width, also a width that no format stores.
func (j *accuracyJob) fixed(t *testing.T, inputBits, recurrentBits, stateBits int,
	rounding Rounding) *Network {
	t.Helper()
	return fixedOn(t, j.p, j.calibration, inputBits, recurrentBits, stateBits, rounding)
}

func fixedOn(t *testing.T, p *dataset.Float, c Calibration, inputBits, recurrentBits, stateBits int,
	rounding Rounding) *Network {
	t.Helper()
	n, err := Quantize(p, c, Widths(16, 16, 16, stateBits), rounding)
	if err != nil {
		t.Fatal(err)
	}
	if strength := rounding.evening(); strength > 0 {
		p, c = even(p, c, strength)
	}
	widths := LayerFormats{inputBits, recurrentBits, stateBits}
	n.Layers[0], err = quantizeLayer("layer", p.Net.Recurrent[0], n.InputFraction, c.Layers[0],
		widths, rounding, [2][]int{})
	if err != nil {
		t.Fatal(err)
	}
	n.Formats.Layers[0] = widths
	n.Dense = nil
	if err := n.quantizeDense(p, &c, nil); err != nil {
		t.Fatal(err)
	}
	return n
}

// accuracy is what fixed point costs one output on the sign-off recordings.
type accuracy struct {
	rise float64 // RMSE against the reference, relative to the float network, less 1
	// distance is the RMS of the difference to the float network's output, in
	// float RMSEs. An error of fixed point may by chance cancel one of the
	// float network in the rise; the distance has no sign.
	distance float64
}

func (j *accuracyJob) measure(n *Network) []accuracy {
	outputs := len(j.p.Outputs)
	type sums struct{ float, fixed, apart []float64 }
	parts := make([]sums, len(j.signoff.Sequences))
	dataset.EachSequence(j.signoff, func(i int, s *dataset.Sequence) {
		part := sums{make([]float64, outputs), make([]float64, outputs), make([]float64, outputs)}
		got, float := make([]float64, len(s.Y)), j.float[i]
		n.Predict(s, got)
		for k, y := range s.Y {
			e, f, d := float[k]-y, got[k]-y, got[k]-float[k]
			part.float[k%outputs] += e * e
			part.fixed[k%outputs] += f * f
			part.apart[k%outputs] += d * d
		}
		parts[i] = part
	})
	var all []accuracy
	for o := range outputs {
		float, fixed, apart := 0.0, 0.0, 0.0
		for _, part := range parts {
			float, fixed, apart = float+part.float[o], fixed+part.fixed[o], apart+part.apart[o]
		}
		all = append(all, accuracy{math.Sqrt(fixed/float) - 1, math.Sqrt(apart / float)})
	}
	return all
}

package smallest

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"math"
	"slices"
	"testing"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat"

	"kerf/dataset"
)

// digest returns the beginning of the SHA-256 of bytes.
func digest(content []byte) string {
	sum := sha256.Sum256(content)
	return hex.EncodeToString(sum[:8])
}

// checksums begin the SHA-256 of the training, selection, sign-off and comparison recordings.
var checksums = map[string][4]string{
	"cooling":     {"5e7d848ea2b40950", "f04ce0e41dd3d91d", "3431b15f083f75b2", "7d16304efbee15c5"},
	"phases":      {"2f3e5648df74fc0d", "581c096eafc1136d", "092127cde95c2123", "345f10033c9053ea"},
	"accumulator": {"af5013b61d0832cb", "e2da3a7a7c56ea94", "f46cc01f8ea35d4c", "6130ac3045ca13ae"},
	"ram":         {"10b1441eb42ce8d5", "916f3808cdf6be40", "a20dd498ce108977", "74e4ae0a4650194f"},
	"needed":      {"ac3cac2b0d2c818f", "9cb8309b5e15c9fd", "f6a270aaf60d354b", "c20d0a77dcfb655b"},
}

// speedChecksums begin those of the network and the selection recordings of a small speed job.
var speedChecksums = [2]string{"1edf4032dec5f46d", "d5876838ee8c3214"}

// The figures of README.md belong to these bytes.
func TestSameSeedSameBytes(t *testing.T) {
	for _, job := range Jobs {
		want := checksums[job.Name]
		for i, s := range []set{trainingSet, selectionSet, signoffSet, comparisonSet} {
			if got := digest(job.recordings(s)); got != want[i] {
				t.Errorf("%s, %s: SHA-256 begins with %s, want %s", job.Name, s.prefix, got,
					want[i])
			}
		}
	}
	made := Speed{Features: 10, Units: 8, Steps: 4 * speedSteps, Shared: true}.maker()
	if got, want := digest(filesOf(made.given)["model.safetensors"]), speedChecksums[0]; got !=
		want {
		t.Errorf("network of a speed job: SHA-256 begins with %s, want %s", got, want)
	}
	if got, want := digest(made.recording("selection", 4*speedSteps)), speedChecksums[1]; got !=
		want {
		t.Errorf("recordings of a speed job: SHA-256 begins with %s, want %s", got, want)
	}
}

// The stored tables are those of the training recordings, and a network that is drawn is the one
// that is stored.
func TestStoredFilesBelongToTheGenerator(t *testing.T) {
	for _, job := range Jobs {
		files, err := job.Files()
		if err != nil {
			t.Fatal(err)
		}
		var made map[string][]byte
		names := []string{"features.csv", "outputs.csv"}
		if job.drawn != nil {
			made, names = filesOf(job.drawn(job)), append(names, "model.safetensors")
		} else {
			rec, err := job.read(trainingSet)
			if err != nil {
				t.Fatal(err)
			}
			made = filesOf(job.untrained(rec, job.layers))
		}
		for _, name := range names {
			if !bytes.Equal(files[name], made[name]) {
				t.Errorf("%s of %s is not what the generator makes: run go run "+
					"./testdata/smallest/train", name, job.Name)
			}
		}
	}
}

// Every network as given has learned what can be learned: its loss on recordings that it was not
// trained on is near the noise of the recorded outputs.
func TestNetworksAreOnTheirPlateau(t *testing.T) {
	for _, job := range Jobs {
		given, err := job.given()
		if err != nil {
			t.Fatal(err)
		}
		rec, err := job.read(comparisonSet)
		if err != nil {
			t.Fatal(err)
		}
		for _, row := range job.rows(rec, given, given, given) {
			t.Logf("%s, %s: %.4g, of the noise %.4g", job.Name, row.Output, row.Given, row.Noise)
			if job.column != "" {
				if row.Given < row.Noise-0.02 {
					t.Errorf("%s: right in %.3f of the steps, the labels in %.3f", job.Name,
						row.Given, row.Noise)
				}
			} else if math.Abs(row.Given/row.Noise-1.01) > 0.02 {
				t.Errorf("%s, %s: RMSE %.4g, the noise is %.4g", job.Name, row.Output, row.Given,
					row.Noise)
			}
		}
	}
}

// No three states hold the four outputs of needed: in units of their noise, what three directions
// leave of the variance is at least the smallest eigenvalue of the covariance (Eckart and Young
// 1936, for the outputs less their mean). A rise of 5 % in every output allows 4 (1.05² - 1) =
// 0.41.
func TestNeededNeedsEveryUnit(t *testing.T) {
	given, rec := neededOnSelection(t)
	outputs := len(needed.quantities)
	columns := make([][]float64, outputs)
	for _, s := range rec.Sequences {
		y := make([]float64, s.Steps*outputs)
		given.Predict(s, y)
		for k, v := range y {
			columns[k%outputs] = append(columns[k%outputs], v/needed.quantities[k%outputs].noise)
		}
	}
	covariance := mat.NewSymDense(outputs, nil)
	for a := range outputs {
		for b := range a + 1 {
			covariance.SetSym(a, b, stat.Covariance(columns[a], columns[b], nil))
		}
	}
	var eigen mat.EigenSym
	if !eigen.Factorize(covariance, false) {
		t.Fatal("no eigenvalues")
	}
	smallest := slices.Min(eigen.Values(nil))
	t.Logf("three states leave %.1f variances of noise", smallest)
	if smallest < 4 {
		t.Errorf("three states leave %.2f variances of noise: that is too near 0.41", smallest)
	}
}

// The features of needed are independent of each other. Without any one of them an output is worse
// by far more than the tolerance of 5 %.
func TestNeededNeedsEveryFeature(t *testing.T) {
	given, rec := neededOnSelection(t)
	base := dataset.Measure(given, rec, nil)
	for feature, f := range given.Features {
		without := *given
		without.Net = given.Net.Clone()
		first := without.Net.Recurrent[0]
		for row := range first.B {
			first.W[row*first.Inputs+feature] = 0
		}
		score, most := dataset.Measure(&without, rec, nil), 0.0
		for o := range given.Outputs {
			slice := dataset.Slice{Output: o, Region: -1}
			most = max(most, dataset.Compare(base, score, slice, dataset.RMSE).Rise)
		}
		t.Logf("without %s the RMSE rises by %.0f %%", f.Name, 100*most)
		if most < 0.5 {
			t.Errorf("without %s the RMSE rises by %.0f %% only", f.Name, 100*most)
		}
	}
}

// neededOnSelection returns the network of needed and its selection recordings.
func neededOnSelection(t *testing.T) (*dataset.Float, *dataset.Recordings) {
	t.Helper()
	given, err := needed.given()
	if err != nil {
		t.Fatal(err)
	}
	rec, err := needed.read(selectionSet)
	if err != nil {
		t.Fatal(err)
	}
	return given, rec
}

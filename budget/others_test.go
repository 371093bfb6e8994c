package budget

import (
	"bytes"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"kerf/model"
	"kerf/prune"
	"kerf/quant"
	"kerf/recovery"
)

// Networks of 6 and of 2 units beside the 12 of the open data: the larger one is trained on
// recorded outputs until it errs less than the network as given, the smaller one is cut and errs
// far more.
func TestOtherNetworks(t *testing.T) {
	in := mustCity(t, "epochs = 300\nteacher = 0.3\nlength = 30")
	pl := NewPlanner(in)
	few := recipe{features: in.Whole(quant.Formats{}).Features,
		units: [][]int{{0, 1, 2, 5, 7, 9}}}
	trained := trainedAs(t, pl, few)
	dir := filepath.Dir(in.Job.File)
	write := func(name string, net *model.Network) {
		var b bytes.Buffer
		if err := model.WriteNPZ(&b, model.ToTorch(net)); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(dir, name), b.Bytes(), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	write("six.npz", recovery.Renormalise(trained, in.Float.Features).Net)
	write("two.npz", prune.CutPredictor(in.Float, few.features, [][]int{{0, 1}},
		prune.MeasureMeans(in.Float, in.Selection)).Net)
	text, err := os.ReadFile(in.Job.File)
	if err != nil {
		t.Fatal(err)
	}
	load := func(before, after string) *Inputs {
		if err := os.WriteFile(in.Job.File, []byte(strings.Replace(string(text), before, after, 1)),
			0o600); err != nil {
			t.Fatal(err)
		}
		return mustLoad(t, in.Job.File)
	}
	alone := NewPlanner(load("model.npz", "six.npz"))
	alone.in.Job.Recovery = nil
	in = load("[recordings]",
		"[[model.other]]\nfile = \"six.npz\"\n[[model.other]]\nfile = \"two.npz\"\n[recordings]")
	in.Job.Recovery = nil
	pl = NewPlanner(in)
	others, err := pl.Trained(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	six, two := others[0], others[1]

	// judged as if it were planned by itself
	chosenAlone, err := alone.Choose(t.Context(), CutByHand(alone.in.Whole(quant.Formats{})))
	if err != nil {
		t.Fatal(err)
	}
	itself := alone.sizeOf(chosenAlone)
	if six.Used != itself.Used || !six.Within || six.Loss[0].Float != itself.Loss[0].Float {
		t.Errorf("it uses %g of its tolerances, planned by itself %g", six.Used, itself.Used)
	}
	// its errors are smaller than those of the network as given, but in some scenario of two
	// sequences the difference may reach anything
	for _, row := range six.Beside.Loss {
		if row.Float == six.Loss[0].Float || !(row.Rise < 0) {
			t.Errorf("%s rises by %g", row.Text(), row.Rise)
		}
	}
	if !six.Beside.Met || six.Beside.Broken || !six.IsPossible() ||
		!six.Beside.Tightest.IsEverywhere() || six.Beside.File != "model.npz" {
		t.Errorf("beside the network as given: %+v", six.Beside)
	}
	if _, ok := pl.within(chosenAlone.heldOut); ok {
		t.Error("with a reserve it is within every tolerance as well: the case shows nothing")
	}
	// rounding costs a bad network nothing, which does not make it good
	if !two.Within || !two.Beside.Broken || two.IsPossible() {
		t.Errorf("two units: within %v, beside %+v", two.Within, two.Beside)
	}
	if whole := pl.priceOf(in.Whole(six.Candidate.Formats)); six.Share >= 0.7*whole.mean {
		t.Errorf("it costs %g, the network as given %g", six.Share, whole.mean)
	}

	cut, chosen, _ := searched(t, in)
	r, err := pl.Assess(t.Context(), cut, chosen)
	if err != nil {
		t.Fatal(err)
	}
	named := func(file string) bool {
		return slices.ContainsFunc(r.Warnings, func(w string) bool {
			return strings.HasPrefix(w, file+", with ")
		})
	}
	if !named("six.npz") || named("two.npz") {
		t.Errorf("notes %q", r.Warnings)
	}
}

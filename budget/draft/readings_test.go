package draft

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"maps"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"kerf/budget"
	"kerf/dataset"
	"kerf/model"
)

// drawn says how a network for a test is drawn: three inputs, recurrent layers of five units and
// dense layers of five, but for the last, which gives two outputs.
type drawn struct {
	kinds []model.Kind
	dense []model.Activation
	five  bool // the last layer gives five outputs too
}

func (d drawn) network() *model.Network {
	const size = 5
	random := rand.New(rand.NewPCG(8, uint64(d.kinds[0])))
	values := func(n int) []float64 {
		v := make([]float64, n)
		for i := range v {
			v[i] = float64(float32(0.6 * random.NormFloat64()))
		}
		return v
	}
	net := &model.Network{}
	inputs := 3
	for _, kind := range d.kinds {
		rows := kind.Gates() * size
		l := &model.Recurrent{Kind: kind, Inputs: inputs, Units: size, W: values(inputs * rows),
			U: values(size * rows), B: values(rows), D: values(rows)}
		if kind == model.ElmanReLU {
			for i := range l.U {
				l.U[i] *= 0.25 // so that the state does not grow without end
			}
		}
		net.Recurrent = append(net.Recurrent, l)
		inputs = size
	}
	for i, a := range d.dense {
		outputs := size
		if i == len(d.dense)-1 && !d.five {
			outputs = 2
		}
		net.Dense = append(net.Dense, &model.Dense{Inputs: size, Outputs: outputs,
			W: values(size * outputs), B: values(outputs), Activation: a})
	}
	return net
}

// played is a recording of random features and what the network gives for them, with normal noise
// of the given size beside a standard deviation of each output.
func played(net *model.Network, noise float64) string {
	random := rand.New(rand.NewPCG(9, 9))
	const sequences, steps = 8, 80
	var x, y []float64
	for range sequences {
		run, in, out := net.NewRun(), make([]float64, net.Inputs()), make([]float64, net.Outputs())
		for range steps {
			for i := range in {
				in[i] = 0.7*in[i] + random.NormFloat64()
			}
			run.Step(in, out)
			x, y = append(x, in...), append(y, out...)
		}
	}
	outputs := net.Outputs()
	spread := make([]float64, outputs)
	for o := range spread {
		var values []float64
		for i := o; i < len(y); i += outputs {
			values = append(values, y[i])
		}
		_, spread[o] = dataset.MeanStd(values)
	}
	var b strings.Builder
	b.WriteString("sequence,scenario,t")
	for i := range net.Inputs() {
		fmt.Fprintf(&b, ",in%d", i)
	}
	for o := range outputs {
		fmt.Fprintf(&b, ",out%d", o)
	}
	for i := range sequences * steps {
		fmt.Fprintf(&b, "\n%d,only,%d", i/steps, i%steps)
		for _, v := range x[i*net.Inputs():][:net.Inputs()] {
			fmt.Fprintf(&b, ",%.9g", v)
		}
		for o, v := range y[i*outputs:][:outputs] {
			fmt.Fprintf(&b, ",%.9g", v+noise*spread[o]*random.NormFloat64())
		}
	}
	return b.String() + "\n"
}

// npz writes arrays.
func npz(t *testing.T, tensors map[string]*model.Tensor) string {
	t.Helper()
	var b bytes.Buffer
	if err := model.WriteNPZ(&b, tensors); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// asTorch stores every layer as a module of its own, named in the order of the network or against
// it.
func asTorch(net *model.Network, reversed bool) map[string]*model.Tensor {
	all := map[string]*model.Tensor{}
	name := func(kind string, i, n int) string {
		if reversed {
			i = n - 1 - i
		}
		return fmt.Sprintf("%s%c.", kind, 'a'+i)
	}
	for i, l := range net.Recurrent {
		module, rows := name("rnn", i, len(net.Recurrent)), l.Kind.Gates()*l.Units
		all[module+"weight_ih_l0"] = &model.Tensor{Shape: []int{rows, l.Inputs}, Data: l.W}
		all[module+"weight_hh_l0"] = &model.Tensor{Shape: []int{rows, l.Units}, Data: l.U}
		all[module+"bias_ih_l0"] = &model.Tensor{Shape: []int{rows}, Data: l.B}
		all[module+"bias_hh_l0"] = &model.Tensor{Shape: []int{rows}, Data: l.D}
	}
	for i, l := range net.Dense {
		module := name("lin", i, len(net.Dense))
		all[module+"weight"] = &model.Tensor{Shape: []int{l.Outputs, l.Inputs}, Data: l.W}
		all[module+"bias"] = &model.Tensor{Shape: []int{l.Outputs}, Data: l.B}
	}
	return all
}

// asKeras stores the arrays of get_weights(): kernels are transposed, a GRU has the gates z r h
// (source: Keras documentation and source of GRU). Without biases they must be zero in the network.
func asKeras(net *model.Network, biases bool) map[string]*model.Tensor {
	all := map[string]*model.Tensor{}
	add := func(shape []int, data []float64) {
		all[fmt.Sprintf("arr_%d", len(all))] = &model.Tensor{Shape: shape, Data: data}
	}
	swapped := func(v []float64, gates int) []float64 {
		if gates != 3 {
			return v
		}
		n := len(v) / 3
		return slices.Concat(v[n:2*n], v[:n], v[2*n:])
	}
	transposed := func(v []float64, columns int) []float64 {
		var out []float64
		for c := range columns {
			for r := range len(v) / columns {
				out = append(out, v[r*columns+c])
			}
		}
		return out
	}
	for _, l := range net.Recurrent {
		gates := l.Kind.Gates()
		rows := gates * l.Units
		add([]int{l.Inputs, rows}, transposed(swapped(l.W, gates), l.Inputs))
		add([]int{l.Units, rows}, transposed(swapped(l.U, gates), l.Units))
		switch {
		case !biases:
		case l.Kind == model.GRUResetAfter:
			add([]int{2, rows}, slices.Concat(swapped(l.B, gates), swapped(l.D, gates)))
		default:
			sum := make([]float64, rows)
			for i := range sum {
				sum[i] = l.B[i] + l.D[i]
			}
			add([]int{rows}, swapped(sum, gates))
		}
	}
	for _, l := range net.Dense {
		add([]int{l.Inputs, l.Outputs}, transposed(l.W, l.Inputs))
		if biases {
			add([]int{l.Outputs}, l.B)
		}
	}
	return all
}

// drafted drafts a job in a fresh folder, with the selection recording as that of the sign-off too,
// and returns its folder.
func drafted(t *testing.T, weights map[string]*model.Tensor, recording string) (*Draft, string) {
	t.Helper()
	dir := t.TempDir()
	write(t, filepath.Join(dir, "model.npz"), npz(t, weights))
	write(t, filepath.Join(dir, "selection.csv"), recording)
	d, err := New(t.Context(), filepath.Join(dir, "model.npz"), filepath.Join(dir, "selection.csv"),
		nil)
	if err != nil {
		t.Fatal(err)
	}
	d.Name, d.Model, d.Selection, d.Signoff = "drawn", "model.npz", "selection.csv",
		[]string{"selection.csv"}
	write(t, filepath.Join(dir, "job.toml"), string(d.TOML()))
	write(t, filepath.Join(dir, "features.csv"), string(d.FeaturesCSV()))
	write(t, filepath.Join(dir, "outputs.csv"), string(d.OutputsCSV()))
	return d, dir
}

func write(t *testing.T, path, content string) {
	t.Helper()
	if err := os.WriteFile(path, []byte(content), 0o644); err != nil {
		t.Fatal(err)
	}
}

// A draft finds what arrays do not say by noisy outputs of the network: order of the layers, cells
// and activations. The job that it writes reads the file as it was meant.
func TestDraftFindsTheReading(t *testing.T) {
	const none, relu, tanh, logistic = model.Identity, model.ReLU, model.Tanh, model.Logistic
	gru := []model.Kind{model.GRUResetAfter}
	before := []model.Kind{model.GRUResetBefore}
	lstm := []model.Kind{model.LSTM}
	elman := []model.Kind{model.ElmanTanh}
	type activations = []model.Activation
	for _, c := range []struct {
		name    string
		drawn   drawn
		arrays  string // how they are stored
		atLeast int    // readings that fit the shapes
	}{
		{"relu between two of one shape", drawn{gru, activations{relu, none}, true}, "torch", 8},
		{"and named the other way round", drawn{gru, activations{relu, none}, true}, "reversed", 8},
		{"tanh", drawn{gru, activations{tanh, none}, true}, "reversed", 8},
		{"logistic", drawn{gru, activations{logistic, none}, false}, "torch", 4},
		{"nothing", drawn{gru, activations{none, none}, true}, "reversed", 8},
		{"reset before", drawn{before, activations{none}, false}, "torch", 2},
		{"reset before, then relu", drawn{before, activations{relu, none}, false}, "torch", 8},
		{"behind the outputs", drawn{gru, activations{none, tanh}, false}, "torch", 16},
		{"lstm, three dense layers", drawn{lstm, activations{relu, tanh, none}, false}, "reversed",
			32},
		{"elman", drawn{elman, activations{tanh, none}, false}, "torch", 8},
		{"elman with relu", drawn{[]model.Kind{model.ElmanReLU}, activations{none}, false}, "torch",
			2},
		{"two cells", drawn{[]model.Kind{model.ElmanTanh, model.LSTM}, activations{relu, none},
			false}, "reversed", 8},
		{"two recurrent and three dense layers",
			drawn{[]model.Kind{model.GRUResetAfter, model.GRUResetAfter},
				activations{relu, tanh, none}, false}, "reversed", 256},
		{"keras", drawn{gru, activations{relu, none}, false}, "keras", 4},
		{"keras reset before", drawn{before, activations{tanh, none}, false}, "keras", 4},
		{"keras without biases", drawn{before, activations{none}, false}, "bare", 2},
		{"keras with an elman", drawn{elman, activations{logistic, none}, false}, "keras", 8},
	} {
		t.Run(c.name, func(t *testing.T) {
			net := c.drawn.network()
			if c.arrays == "bare" {
				for _, b := range [][]float64{net.Recurrent[0].B, net.Recurrent[0].D,
					net.Dense[0].B} {
					clear(b)
				}
			}
			weights := map[string]map[string]*model.Tensor{"torch": asTorch(net, false),
				"reversed": asTorch(net, true), "keras": asKeras(net, true),
				"bare": asKeras(net, false)}[c.arrays]
			const noise = 0.05
			d, dir := drafted(t, weights, played(net, noise))
			if len(d.Choices) > 1 || d.Readings < c.atLeast || d.Next == nil {
				t.Fatalf("of %d readings %d are left open\n%s", d.Readings, len(d.Choices),
					d.TOML())
			}
			if readsAs(t, dir) != net.String() {
				t.Errorf("read as %s, drawn was %s\n%s", readsAs(t, dir), net, d.TOML())
			}
			for _, f := range d.Fit() { // the noise has 1/400 of the variance
				if f.Share < 0.996 || f.Share > 0.999 {
					t.Errorf("explains %g of %s, want all but the noise", f.Share, f.Output)
				}
			}
			if next := quality(d.Next.Fit); next > quality(d.Fit()) {
				t.Errorf("the next best explains %g\n%s", next, d.TOML())
			}
		})
	}
}

// readsAs returns the layers of the network that the job in a folder reads.
func readsAs(t *testing.T, dir string) string {
	t.Helper()
	in, err := budget.Load(filepath.Join(dir, "job.toml"))
	if err != nil {
		t.Fatal(err)
	}
	return in.Float.Net.String()
}

// Where the recording does not tell two readings apart, both are in the job as comments, and the
// job is refused until one of them is chosen.
func TestDraftLeavesTheChoice(t *testing.T) {
	gru := []model.Kind{model.GRUResetAfter}
	hidden := drawn{gru, []model.Activation{model.ReLU, model.Identity}, false}
	for _, c := range []struct {
		name   string
		noise  float64
		change func(net *model.Network)
		want   []string // activations of the hidden layer that are left
	}{
		// The state of a GRU is within ±1, so a bias of 50 keeps every sum above 0.
		{"relu never cuts, and gives the same bits", 0, func(net *model.Network) {
			for i := range net.Dense[0].B {
				net.Dense[0].B[i] = 50
			}
		}, []string{"identity", "relu"}},
		{"tanh never saturates, and noise outweighs the rest", 0.3, func(net *model.Network) {
			net.Dense[0].Activation = model.Tanh
			for i := range net.Dense[0].W {
				net.Dense[0].W[i] *= 0.05
			}
			clear(net.Dense[0].B)
		}, []string{"identity", "tanh"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			net := hidden.network()
			c.change(net)
			d, dir := drafted(t, asTorch(net, false), played(net, c.noise))
			var left []string
			for _, choice := range d.Choices {
				left = append(left, choice.Layers[1].Activation)
			}
			if slices.Sort(left); !slices.Equal(left, c.want) {
				t.Fatalf("left are %v, want %v\n%s", left, c.want, d.TOML())
			}
			_, err := budget.ReadJob(filepath.Join(dir, "job.toml"))
			if err == nil || !regexp.MustCompile(`job.toml:\d+:\d+: model.file is missing$`).
				MatchString(err.Error()) {
				t.Fatalf("refused with %v", err)
			}
			seen := map[string]bool{}
			for i := range d.Choices {
				write(t, filepath.Join(dir, "job.toml"), uncommented(string(d.TOML()), i+1))
				seen[readsAs(t, dir)] = true
			}
			if !seen[net.String()] || len(seen) != len(d.Choices) {
				t.Errorf("read as %v, drawn was %s", slices.Collect(maps.Keys(seen)), net)
			}
		})
	}
}

// uncommented takes the # off the lines of one reading.
func uncommented(job string, reading int) string {
	front, block, _ := strings.Cut(job, fmt.Sprintf("# Reading %d explains", reading))
	block, back, _ := strings.Cut(block, "\n#]\n")
	return front + "# Reading" + strings.ReplaceAll(block, "\n#", "\n") + "\n]\n" + back
}

// Two layers with the same weights are one network in either order.
func TestEqualLayersLeaveNoChoice(t *testing.T) {
	net := drawn{[]model.Kind{model.LSTM},
		[]model.Activation{model.Tanh, model.Tanh, model.Identity},
		false}.network()
	net.Dense[1] = net.Dense[0]
	d, _ := drafted(t, asTorch(net, false), played(net, 0.05))
	if len(d.Choices) != 1 {
		t.Errorf("%d choices\n%s", len(d.Choices), d.TOML())
	}
}

// A single sequence has no interval. What explains half is taken beside what explains nothing; a
// reading that is not usual stays open, the best first.
func TestOneSequence(t *testing.T) {
	for _, kind := range []model.Kind{model.GRUResetAfter, model.GRUResetBefore} {
		net := drawn{[]model.Kind{kind}, []model.Activation{model.ReLU, model.Identity},
			false}.network()
		one, _, _ := strings.Cut(played(net, 0.05), "\n1,only,")
		d, dir := drafted(t, asTorch(net, false), one+"\n")
		if d.IsOpen() != (kind == model.GRUResetBefore) {
			t.Fatalf("%v: %d choices\n%s", kind, len(d.Choices), d.TOML())
		}
		if d.IsOpen() {
			write(t, filepath.Join(dir, "job.toml"), uncommented(string(d.TOML()), 1))
		}
		if readsAs(t, dir) != net.String() {
			t.Errorf("read as %s, drawn was %s", readsAs(t, dir), net)
		}
	}
}

// What is recorded is never below 0, and the network is there now and then: with a ReLU behind it
// more is explained, but it was trained without one. The draft mentions that and does not take it.
func TestUnusualReadingsHaveToHalveTheError(t *testing.T) {
	net := drawn{[]model.Kind{model.LSTM}, []model.Activation{model.Identity}, false}.network()
	outputs := net.Outputs()
	header, rows, _ := strings.Cut(strings.TrimSpace(played(net, 0.2)), "\n")
	var cells [][]string
	var y [][]float64
	for row := range strings.Lines(rows) {
		c := strings.Split(strings.TrimSpace(row), ",")
		values := make([]float64, outputs)
		for o, text := range c[len(c)-outputs:] {
			v, err := strconv.ParseFloat(text, 64)
			if err != nil {
				t.Fatal(err)
			}
			values[o] = v
		}
		cells, y = append(cells, c), append(y, values)
	}
	for o := range outputs {
		column := make([]float64, len(y))
		for i := range y {
			column[i] = y[i][o]
		}
		slices.Sort(column)
		offset := column[len(column)/18] // few are below
		net.Dense[0].B[o] -= offset
		for i := range y {
			cells[i][len(cells[i])-outputs+o] = fmt.Sprint(max(0, y[i][o]-offset))
		}
	}
	recording := header + "\n"
	for _, c := range cells {
		recording += strings.Join(c, ",") + "\n"
	}
	d, dir := drafted(t, asTorch(net, false), recording)
	if readsAs(t, dir) != net.String() || !d.NextIsBetter ||
		d.Next.Layers[1].Activation != "relu" ||
		!strings.Contains(string(d.TOML()), "does not halve the error") {
		t.Errorf("read as %s\n%s", readsAs(t, dir), d.TOML())
	}
}

// Trying ends with its context, and says before how far it is.
func TestTryingStops(t *testing.T) {
	net := drawn{[]model.Kind{model.LSTM}, []model.Activation{model.Tanh, model.ReLU, model.Tanh,
		model.Identity}, false}.network()
	dir := t.TempDir()
	write(t, filepath.Join(dir, "model.npz"), npz(t, asTorch(net, false)))
	write(t, filepath.Join(dir, "selection.csv"), played(net, 0.05))
	ctx, stop := context.WithCancel(t.Context())
	calls, before := 0, 0
	_, err := New(ctx, filepath.Join(dir, "model.npz"), filepath.Join(dir, "selection.csv"),
		func(done, all int) {
			if done < before || done > all {
				t.Errorf("%d of %d done after %d", done, all, before)
			}
			calls, before = calls+1, done
			stop()
		})
	if !errors.Is(err, context.Canceled) || calls != 1 {
		t.Errorf("%d calls, then %v", calls, err)
	}
}

// Outputs that were trained with a mean and std which are neither 0 and 1 nor those of the
// recording make the draft doubtful, with the mean and std that fit, whichever reading it comes to.
func TestOutputsOfAnotherScale(t *testing.T) {
	net := drawn{[]model.Kind{model.GRUResetAfter}, []model.Activation{model.ReLU, model.Identity},
		false}.network()
	scaled := drawn{[]model.Kind{model.GRUResetAfter},
		[]model.Activation{model.ReLU, model.Identity}, false}.network()
	head := scaled.Dense[1]
	for i := range head.W {
		head.W[i] *= 4
	}
	for i := range head.B {
		head.B[i] = 10 + 4*head.B[i]
	}
	d, _ := drafted(t, asTorch(net, false), played(scaled, 0.05))
	if !d.IsDoubtful() {
		t.Fatalf("the draft is not doubted\n%s", d.TOML())
	}
	found := false
	for _, c := range d.Choices {
		for _, r := range c.Rescaled {
			found = found || math.Abs(r.Mean-10) < 0.2 && math.Abs(r.Std-4) < 0.2 &&
				r.Share > 0.99
		}
	}
	if !found || !strings.Contains(string(d.TOML()), "look at outputs.csv") {
		t.Errorf("mean 10 and std 4 are not named\n%s", d.TOML())
	}
	plain, _ := drafted(t, asTorch(net, false), played(net, 0.05))
	if plain.IsDoubtful() {
		t.Errorf("the right scale is doubted\n%s", plain.TOML())
	}
}

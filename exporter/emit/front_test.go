package emit

import (
	"fmt"
	"hash/fnv"
	"math/rand/v2"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"kerf/dataset"
	"kerf/frontend"
	"kerf/testdata/randomfront"
	"kerf/testdata/randomnet"
)

// withFront gives the program of a random network a front end: some of its features are computed,
// as many as are drawn, at places that are drawn.
func withFront(t testing.TB, random *rand.Rand, features int) *Program {
	t.Helper()
	p := randomProgram(t, random, randomnet.OneGRU)
	front, encodings := randomfront.FrontEnd(random, 3, features)
	return setFront(p, random, front, encodings)
}

// setFront names features of the network as those of a front end, and a few more that are given.
func setFront(p *Program, random *rand.Rand, front *frontend.FrontEnd,
	encodings []frontend.Encoding) *Program {
	net := *p.Net
	given := random.IntN(3)
	net.Features = nil
	for i := range len(front.Features) + given {
		f := dataset.Feature{Name: fmt.Sprintf("given%d", i), Mean: 20 * random.NormFloat64(),
			Std: 3}
		if i < len(front.Features) {
			f.Name = front.Features[i].Name
		}
		net.Features = append(net.Features, f)
	}
	random.Shuffle(len(net.Features), func(i, j int) {
		net.Features[i], net.Features[j] = net.Features[j], net.Features[i]
	})
	p.Front = &FrontEnd{Integer: frontend.NewInteger(front, encodings)}
	for _, f := range front.Features {
		for i := range net.Features {
			if net.Features[i].Name == f.Name {
				p.Front.Index = append(p.Front.Index, i)
			}
		}
	}
	p.Net = &net
	return p
}

// frontHashes returns the hash that the driver prints for every window.
func frontHashes(p *Program, seed uint32, steps int) []string {
	codes := randomfront.Codes(seed, p.Front.Integer.Front, steps)
	var hashes []string
	for _, row := range p.Front.Integer.Encode(codes, steps) {
		x := make([]byte, 2*len(p.Net.Features))
		for i, at := range p.Front.Index {
			x[2*at], x[2*at+1] = byte(row[i]), byte(uint16(row[i])>>8)
		}
		h := fnv.New32a()
		h.Write(x)
		hashes = append(hashes, fmt.Sprintf("%x", h.Sum32()))
	}
	return hashes
}

// frontMacros are what the driver is compiled with.
func frontMacros(p *Program, seed uint32, steps int) []string {
	var bits []string
	for _, c := range p.newFront().channels {
		bits = append(bits, fmt.Sprint(c.Bits))
	}
	return []string{fmt.Sprintf("-DSEED=%dU", seed), fmt.Sprintf("-DSTEPS=%d", steps),
		"-DBITS=" + strings.Join(bits, ",")}
}

// compareFrontOnHost runs the front end on the host under the sanitizers and compares it with Go,
// window by window.
func compareFrontOnHost(t *testing.T, p *Program, seed uint32, steps int) {
	t.Helper()
	dir := t.TempDir()
	writeC(t, p, dir)
	driver, err := filepath.Abs("testdata/emulate/front_driver.c")
	if err != nil {
		t.Fatal(err)
	}
	command := append([]string{"gcc", "-std=c99", "-O1", "-fsanitize=undefined,address",
		"-fno-sanitize-recover=all", "-I."}, strict...)
	command = append(command, frontMacros(p, seed, steps)...)
	compile(t, dir, append(command, "leakair_front.c", driver, "-o", "program")...)
	out, err := exec.Command(filepath.Join(dir, "program")).CombinedOutput()
	if err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	lines := strings.Fields(strings.ReplaceAll(string(out), "hash ", ""))
	want := frontHashes(p, seed, steps)
	for step := range want {
		if step >= len(lines) || lines[step] != want[step] {
			t.Fatalf("window %d differs: %+v", step, p.Front.Integer.Front)
		}
	}
}

// The C gives the integers of Go, on the host under the sanitizers: 100,000 windows of codes in
// all, of 40 front ends that are drawn.
func TestFrontEndInCGivesTheIntegersOfGo(t *testing.T) {
	const steps = 2500
	for i := range 40 {
		t.Run(fmt.Sprint(i), func(t *testing.T) {
			t.Parallel()
			random := rand.New(rand.NewPCG(uint64(i), 18))
			compareFrontOnHost(t, withFront(t, random, 12), uint32(i+1), steps)
		})
	}
}

// The header names the unit of every channel, and says where std is not that of features.csv.
func TestHeaderSaysWhatCodesAndInputsAre(t *testing.T) {
	random := rand.New(rand.NewPCG(18, 31))
	front, encodings := randomfront.FrontEnd(random, 1, 2)
	c := &front.Channels[0]
	c.Name, c.Unit, c.Cycles = "supply", "L/min */", 0
	c.Converter = frontend.Converter{Low: -1, High: 4, Bits: 12}
	front.Channels, front.Features = front.Channels[:1], []frontend.Feature{{Name: "flow",
		Definition: frontend.Definition{Kind: frontend.Level}, Scale: 1}}
	p := setFront(randomProgram(t, random, randomnet.OneGRU), random, front, encodings[:1])
	text, err := p.header()
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{
		"_CODE_SUPPLY 0 /* 12 bits: 0 is -1, 4095 is 4 L/min *<U+002F> */", "std is not that of features.csv"} {
		if !strings.Contains(text, want) {
			t.Errorf("no %q in %s", want, text)
		}
	}
	if got := p.frontRecord().Channels[0].Unit; got != c.Unit {
		t.Errorf("NAME_network.json has the unit %q", got)
	}
}

// A window of 78 samples, of which a rounded table was once not symmetric: the C, which adds and
// subtracts sums beforehand, then gave other integers than Go.
func TestFrontEndInCOfAWindowOf78Samples(t *testing.T) {
	random := rand.New(rand.NewPCG(78, 18))
	front, encodings := randomfront.AllKinds(random, [3]int{78, 1, 16})
	p := setFront(randomProgram(t, random, randomnet.OneGRU), random, front, encodings)
	compareFrontOnHost(t, p, 1, 200)
}

// Places beyond 255 of computed features in x take 16 bits.
func TestFrontEndInCOfManyFeatures(t *testing.T) {
	p := withFront(t, rand.New(rand.NewPCG(1, 18)), 12)
	net := *p.Net
	net.Features = nil
	for i := range 300 {
		net.Features = append(net.Features, dataset.Feature{Name: fmt.Sprintf("many%d", i), Std: 3})
	}
	net.Features = append(net.Features, p.Net.Features...)
	for i := range p.Front.Index {
		p.Front.Index[i] += 300
	}
	p.Net = &net
	compareFrontOnHost(t, p, 1, 20)
}

// A variable of the C follows from what the features need, whatever a channel is called.
func TestAChannelCalledAsAVariableOfTheC(t *testing.T) {
	random := rand.New(rand.NewPCG(18, 41))
	front, encodings := randomfront.FrontEnd(random, 1, 2)
	c := &front.Channels[0]
	c.Name, c.Cycles, c.Baseline = "known", 0, frontend.Baseline{Seconds: 1}
	front.Channels, front.Features = front.Channels[:1], []frontend.Feature{{Name: "flow",
		Definition: frontend.Definition{Kind: frontend.Relative}, Scale: 1}}
	p := setFront(randomProgram(t, random, randomnet.OneGRU), random, front, encodings[:1])
	source, err := p.newFront().source("")
	if err != nil {
		t.Fatal(err)
	}
	if strings.Contains(source, "int32_t known;") {
		t.Error("name_features has a variable that nothing needs")
	}
}

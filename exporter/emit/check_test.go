package emit

import (
	"fmt"
	"hash/crc32"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"kerf/testdata/randomnet"
)

// checkValue is what CRC-32/ISO-HDLC gives for "123456789": its check value in the catalogue of
// parametrised CRC algorithms (G. Cook; the number from memory).
const checkValue = "cbf43926"

// section matches the definition of a constant in the section, and its name.
var section = regexp.MustCompile(`(?m)^static const \w+ (leakair_\w+)\[\d+\] LEAKAIR_ROM`)

// writeObjects writes the C of a program and objects.h, which calls FLIP for every constant that
// its network needs.
func writeObjects(t *testing.T, p *Program, dir string) {
	t.Helper()
	writeC(t, p, dir)
	var b strings.Builder
	for _, name := range []string{"leakair_weights.h", "leakair.c"} {
		text, err := os.ReadFile(filepath.Join(dir, name))
		if err != nil {
			t.Fatal(err)
		}
		needed, _, _ := strings.Cut(string(text), "#ifdef LEAKAIR_WITH_FLOAT\n")
		for _, m := range section.FindAllStringSubmatch(needed, -1) {
			if m[1] != "leakair_scales" {
				fmt.Fprintf(&b, "FLIP(%s)\n", m[1])
			}
		}
	}
	b.WriteString("FLIP(leakair_id_word)\n")
	if err := os.WriteFile(filepath.Join(dir, "objects.h"), []byte(b.String()), 0o600); err != nil {
		t.Fatal(err)
	}
}

// checkFlips reads what testdata/check.c prints: all flips are found, and the CRC of the values is
// that which Go computes.
func checkFlips(t *testing.T, p *Program, out string) {
	t.Helper()
	value := func(what string) string {
		m := regexp.MustCompile(`(?m)` + what + ` ([0-9a-f]+)[.\r]*$`).FindStringSubmatch(out)
		if m == nil {
			return "nothing"
		}
		return m[1]
	}
	for what, want := range map[string]string{"text": checkValue, "before": "0", "after": "0",
		"values": fmt.Sprintf("%08x", valuesCRC(p.Net)), "found": value("flips"),
		"flips": fmt.Sprint(8 * (p.Net.Shape().WeightBytes() + p.Net.Shape().TableBytes() + 16)),
	} {
		if got := value(what); got != want {
			t.Errorf("%s is %s, want %s", what, got, want)
		}
	}
	if !strings.Contains(out, "finished") {
		t.Errorf("the program ended early; it wrote %s", out)
	}
	t.Logf("%s flips, %s found", value("flips"), value("found"))
}

// The check finds every flipped bit of what a step reads, of every kind of layer and word.
func TestCheckFindsEveryFlippedBit(t *testing.T) {
	if got := fmt.Sprintf("%08x", crc32.ChecksumIEEE([]byte("123456789"))); got != checkValue {
		t.Fatalf("Go gives %s for the text of the check value", got)
	}
	driver, err := filepath.Abs(filepath.Join("testdata", "check.c"))
	if err != nil {
		t.Fatal(err)
	}
	for i, layers := range randomnet.All()[:6] {
		t.Run(fmt.Sprint(i, layers), func(t *testing.T) {
			t.Parallel()
			p := randomProgram(t, rand.New(rand.NewPCG(uint64(i), 5)), layers)
			dir := t.TempDir()
			writeObjects(t, p, dir)
			compile(t, dir, append(append([]string{"gcc", "-std=c99", "-O2", "-I.",
				"-DLEAKAIR_WITH_CHECK", "-DLEAKAIR_WEIGHTS_IN_RAM"}, strict...), driver, "-o",
				"check")...)
			out, err := exec.Command(filepath.Join(dir, "check")).CombinedOutput()
			if err != nil {
				t.Fatalf("%v: %s", err, out)
			}
			checkFlips(t, p, string(out))
		})
	}
}

// The format hash is the same for another network of the same formats, with other weights, vectors,
// recorded ranges and version, and another one for whatever the code holds: so a section can be
// replaced where a front end computes the features as well.
func TestFormatHash(t *testing.T) {
	p := selftestProgram(t, 0)
	hash := func() uint32 {
		t.Helper()
		h, err := p.formatHash()
		if err != nil {
			t.Fatal(err)
		}
		return h
	}
	want := hash()
	p.ModelVersion, p.Vectors, p.FrontVectors, p.Ranges = "2", nil, FrontVectors{}, nil
	m := p.Net.Layers[0].Input
	m.W[0], m.Bias[0] = m.W[0]+1, m.Bias[0]+1
	if got := hash(); got != want {
		t.Errorf("with other values it is %08X, want %08X", got, want)
	}
	p.Net.Features[0].Mean++
	if hash() == want {
		t.Error("with another mean it is the same")
	}
	p.Net.Features[0].Mean--
	p.Period++
	if hash() == want {
		t.Error("with another period it is the same")
	}
	p.Period--
	if hash() != want {
		t.Error("it does not come back")
	}
}

// A network file whose CRC is not that of its values is refused; one of an older kerf has none.
func TestNetworkFileWithAnotherCRC(t *testing.T) {
	p := randomProgram(t, rand.New(rand.NewPCG(3, 1)), randomnet.OneGRU)
	f := p.networkFile()
	want := fmt.Sprintf("0x%08X", valuesCRC(p.Net))
	if _, err := f.Network(); err != nil || f.ValuesCRC != want {
		t.Errorf("%v; its CRC is %s, want %s", err, f.ValuesCRC, want)
	}
	f.ValuesCRC = ""
	if _, err := f.Network(); err != nil {
		t.Error(err)
	}
	f.ValuesCRC = "0x00000000"
	if _, err := f.Network(); err == nil || !strings.Contains(err.Error(), want) {
		t.Errorf("got %v, want an error with %s", err, want)
	}
}

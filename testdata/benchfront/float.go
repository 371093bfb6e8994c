package main

import (
	_ "embed"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"

	"kerf/frontend"
)

//go:embed c/floatfront.c
var floatSource string

// floatStruct is what the float C keeps.
const floatStruct = `typedef struct {
    float re[5];
    float im[5];
    uint16_t taken;
    uint16_t at;
    volatile uint8_t full;
} net_front;`

// writeFloat puts the float C of the first setting in place of the emitted C in a folder.
func writeFloat(f *frontend.FrontEnd, dir string) error {
	samples, cycles := f.Sampling.Samples, f.Channels[0].Cycles
	var turn []string
	for i := range samples {
		angle := 2 * math.Pi * float64(i) / float64(samples)
		turn = append(turn, fmt.Sprintf("{ %.8ef, %.8ef }", math.Cos(angle), math.Sin(angle)))
	}
	source := strings.NewReplacer("    TURN\n", "    "+strings.Join(turn, ",\n    ")+"\n",
		"CYCLES", fmt.Sprintf("%dU", cycles)).Replace(floatSource)
	if err := os.WriteFile(filepath.Join(dir, "net_front.c"), []byte(source), 0o644); err != nil {
		return err
	}
	header := filepath.Join(dir, "net.h")
	text, err := os.ReadFile(header)
	if err != nil {
		return err
	}
	before, rest, _ := strings.Cut(string(text), "typedef struct {\n    volatile uint8_t full;")
	_, after, found := strings.Cut(rest, "} net_front;")
	if !found {
		return fmt.Errorf("net.h has no net_front")
	}
	return os.WriteFile(header, []byte(before+floatStruct+after), 0o644)
}

package budget

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"kerf/dataset"
)

// rawCity is city-weather with samples: three of temp_max for each step of the first sequences,
// which its level and its swing follow from. changes are texts for others in the
// files named.
func rawCity(t *testing.T, sequences int, changes ...[3]string) (*Inputs, error) {
	t.Helper()
	dir := t.TempDir()
	if err := os.CopyFS(dir, os.DirFS("../testdata/cityweather")); err != nil {
		t.Fatal(err)
	}
	write := func(name string, text []byte) {
		if err := os.WriteFile(filepath.Join(dir, name), text, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	read := func(name string) string {
		text, err := os.ReadFile(filepath.Join(dir, name))
		if err != nil {
			t.Fatal(err)
		}
		return string(text)
	}
	for _, set := range []string{"selection", "signoff"} {
		rows, err := csv.NewReader(strings.NewReader(read(set + ".csv"))).ReadAll()
		if err != nil {
			t.Fatal(err)
		}
		var raw bytes.Buffer
		fmt.Fprintln(&raw, "sequence,scenario,t,thermometer")
		seen, step := map[string]bool{}, 0
		for _, row := range rows[1:] {
			if step++; !seen[row[0]] {
				seen[row[0]], step = true, 0
			}
			if len(seen) > sequences {
				break
			}
			level, err := strconv.ParseFloat(row[3], 64) // temp_max
			if err != nil {
				t.Fatal(err)
			}
			for n, off := range []float64{-1, 0, 1} {
				fmt.Fprintf(&raw, "%s,%s,%g,%g\n", row[0], row[1], float64(step)+float64(n)/10,
					level+off)
			}
		}
		write("raw_"+set+".csv", raw.Bytes())
	}
	features := strings.Split(strings.TrimSpace(read("features.csv")), "\n")
	for i, line := range features {
		switch {
		case i == 0:
			features[i] = line + ",computed,scale,offset,wrap"
		case strings.HasPrefix(line, "temp_max,"):
			features[i] = line + ",level,,,"
		default:
			features[i] = line + ",,,,"
		}
	}
	write("features.csv", []byte(strings.Join(features, "\n")+"\n"))
	channel := strings.Split(features[1], ",")[1]
	ofTarget := "period = \"100 ms\"\n" // samples have another one
	write("job.toml", []byte(strings.ReplaceAll(read("job.toml"), ofTarget, "")+fmt.Sprintf(`
[raw]
selection = "raw_selection.csv"
signoff = "raw_signoff.csv"
rate = "10 Hz"
window = 3
period = "1 s"

[[channel]]
name = %q
column = "thermometer"
converter = { low = "-50 degC", high = "50 degC", bits = 12 }
`, channel)))
	for _, c := range changes {
		text := read(c[0])
		if !strings.Contains(text, c[1]) {
			t.Fatalf("%s does not hold %q", c[0], c[1])
		}
		write(c[0], []byte(strings.ReplaceAll(text, c[1], c[2])))
	}
	return Load(filepath.Join(dir, "job.toml"))
}

func TestFeaturesAreComputedFromSamples(t *testing.T) {
	in, err := rawCity(t, 5)
	if err != nil {
		t.Fatal(err)
	}
	all := in.ComputedFeatures()
	if len(all) != 1 || !all[0].Within || all[0].Difference.Steps == 0 {
		t.Fatalf("%+v", all)
	}
	if in.Raw.Selection[4] == nil || in.Raw.Selection[5] != nil {
		t.Error("five sequences should have samples")
	}
	if err := in.CheckComputed(); err != nil {
		t.Error(err)
	}
	in, err = rawCity(t, 5, [3]string{"features.csv", ",level,,,", ",maximum,,,"})
	if err != nil {
		t.Fatal(err)
	}
	if all = in.ComputedFeatures(); all[0].Within || !all[0].Found ||
		all[0].Reading.Line() != `computed = "level"` {
		t.Errorf("%+v", all[0])
	}
	if err := in.CheckComputed(); err == nil || !strings.Contains(err.Error(), "temp_max is not "+
		"what was recorded") {
		t.Errorf("%v", err)
	}
}

// Samples of a sequence that repeats another one are left out with it.
func TestSamplesOfARepeatedSequence(t *testing.T) {
	text, err := os.ReadFile("../testdata/cityweather/selection.csv")
	if err != nil {
		t.Fatal(err)
	}
	_, rows, _ := strings.Cut(string(text), "\n")
	first := rows[:strings.Index(rows, ",")]
	var again strings.Builder
	for _, line := range strings.Split(rows, "\n") {
		if rest, of := strings.CutPrefix(line, first+","); of {
			again.WriteString("again," + rest + "\n")
		}
	}
	in, err := rawCity(t, 13, [3]string{"selection.csv", rows, again.String() + rows},
		[3]string{"signoff.csv", "\n18,", "\n" + first + ","},
		[3]string{"raw_signoff.csv", "\n18,", "\n" + first + ","})
	if err != nil {
		t.Fatal(err)
	}
	// Of the same name in the other set the samples stay.
	for i, s := range in.Signoff.Sequences {
		if in.Raw.Signoff[i] == nil {
			t.Errorf("sign-off sequence %s has no samples", s.Name)
		}
	}
	// The one that was named first stays, and has no samples.
	if len(in.Raw.Selection) != 12 || in.Raw.Selection[0] != nil || in.Raw.Selection[1] == nil {
		t.Errorf("%d sequences", len(in.Raw.Selection))
	}
}

// Every error names the place and what would do.
func TestWrongSamplesOfAJob(t *testing.T) {
	for _, c := range []struct{ file, old, new, says string }{
		{"job.toml", "rate = \"10 Hz\"\n", "", "raw.rate is missing"},
		{"job.toml", "window = 3", "window = 30", "a window of 30 samples takes 3 s, and the " +
			"next one begins after 1 s"},
		{"job.toml", "window = 3", "window = 2", "a window begins 0.2 s after the one before, " +
			"and the period of the job is 1 s"},
		{"job.toml", "rate = \"10 Hz\"", "rate = \"30 Hz\"", "a sample is taken 0.1 s after the " +
			"one before, and the rate of the job is 0.0333333 s"},
		{"job.toml", "bits = 12", "bits = 24", "a converter of 24 bits"},
		{"job.toml", "50 degC\", bits", "50 K\", bits", "more than one unit"},
		{"job.toml", "low = \"-50 degC\"", "low = \"fifty\"", "is no number with a unit"},
		{"job.toml", "column = \"thermometer\"", "column = \"thermo\"", "thermo"},
		{"job.toml", "[[channel]]\nname = ", "[[channel]]\nbaseline = 0\nname = ",
			"is no baseline"},
		{"features.csv", ",level,,,", ",lever,,,", `"lever" is no kind of feature`},
		{"features.csv", ",level,,,", ",amplitude(1),,,", "does not say how many cycles"},
		{"features.csv", ",level,,,", ",relative,,,", "the channel has none"},
		{"features.csv", ",level,,,", ",level,0,,", "a scale of 0 leaves nothing"},
		{"features.csv", ",level,,,", ",level,,,maybe", "is neither yes nor no"},
		{"job.toml", "rate = \"10 Hz\"", "rate = \"13 Hz\"", "a window ends 0.2 s after its " +
			"first sample, and by the rate of the job that is 0.153846 s"},
		{"job.toml", "column = ", "cycles = 4611686018427387904\ncolumn = ", "cannot be told"},
		{"features.csv", ",level,,,", ",amplitude(4611686018427387904),,,", "harmonics go from"},
		{"job.toml", "degC", "K", "temp_max is in degC, and its channel temperature in K"},
		{"job.toml", "bits = 12", "bits = 12, time = \"2 us\"", "time and current of a conversion " +
			"belong together"},
		{"job.toml", "bits = 12", "bits = 12, time = \"0.2 s\", current = \"1 mA\"", "a conversion " +
			"takes 0.2 s, and a sample is due every 0.1 s"},
		{"job.toml", "window = 3", "window = -1", "a window cannot have -1 samples"},
		{"job.toml", "window = 3", "window = 0", "raw.window is missing, or 0"},
		{"job.toml", "column = \"thermometer\"", "column = \"t\"", "t tells sequence, scenario and " +
			"time of recordings; it is no channel"},
		{"job.toml", "column = ", "baseline = \"120 degC\"\ncolumn = ",
			"\"120 degC\": is neither a time nor a number alone"},
		{"job.toml", "column = ", "baseline = \"warm\"\ncolumn = ", "a time starts with a number"},
		{"job.toml", "column = ", "baseline = \"10000000000 s\"\ncolumn = ", "a baseline of 1e+10 s"},
		{"job.toml", "column = ", "baseline = \"0.000000001 s\"\ncolumn = ", "a baseline of 1e-09 s"},
		{"job.toml", "column = ", "floor = \"0 degC\"\ncolumn = ", "there is nothing to tell"},
		{"job.toml", "-50 degC\", high = \"50 degC", "0 \\u202e\", high = \"50 \\u202e",
			"U+202E"},
		{"job.toml", "step_time = \"1 ms\"", "interrupt = 0", "0 cycles are no limit"},
		{"job.toml", "step_time = \"1 ms\"", "interrupt_time = \"0 s\"", "interrupt_time is 0"},
		{"job.toml", "step_time = \"1 ms\"", "features_time = \"0 s\"", "features_time is 0"},
		{"raw_signoff.csv", "seattle", "boston", "has the scenario"},
		{"job.toml", "step_time = \"1 ms\"", "period = \"2 s\"", "a step begins every 2 s here, " +
			"and every 1 s in [raw]"},
		{"job.toml", "step_time = \"1 ms\"", "interrupt = -1", "-1 cycles are no limit"},
	} {
		_, err := rawCity(t, 3, [3]string{c.file, c.old, c.new})
		if err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s for %q in %s: %v, want %q", c.new, c.old, c.file, err, c.says)
		}
	}
}

// A channel that no feature is computed from is named.
func TestUnusedChannelsAreNamed(t *testing.T) {
	for _, computed := range []string{"level", ""} {
		in, err := rawCity(t, 3, [3]string{"features.csv", ",level,,,", "," + computed + ",,,"})
		if err != nil {
			t.Fatal(err)
		}
		said := strings.Contains(strings.Join(in.Warnings, "\n"),
			"temperature: no feature of features.csv is computed from this channel")
		if said != (computed == "") {
			t.Errorf("%q: %q", computed, in.Warnings)
		}
	}
}

// What computes a feature from samples is counted: nothing is declared of it.
func TestPhysicalZeroFarFromTheCodes(t *testing.T) {
	far := [3]string{"job.toml", `low = "-50 degC", high = "50 degC"`,
		`low = "1000000 degC", high = "1000000.1 degC"`}
	const says = "too many steps of the converter away"
	_, err := rawCity(t, 3, far, [3]string{"features.csv", ",level,,,", ",rms,,,"})
	if err == nil || !strings.Contains(err.Error(), says) {
		t.Errorf("%v, want %q", err, says)
	}
	if _, err = rawCity(t, 3, far); err != nil && strings.Contains(err.Error(), says) {
		t.Errorf("of a level: %v", err)
	}
}

func TestComputedFeatureWithAFrontEnd(t *testing.T) {
	_, err := rawCity(t, 3, [3]string{"features.csv", ",computed,", ",front_end,computed,"},
		[3]string{"features.csv", ",,,,\n", ",,,,,\n"},
		[3]string{"features.csv", ",level,,,", ",spectrum,level,,,"},
		[3]string{"job.toml", "[raw]", "[[front_end]]\nname = \"spectrum\"\nflash = \"1 " +
			"KiB\"\n[raw]"})
	if err == nil || !strings.Contains(err.Error(), "temp_max is computed from samples, and what "+
		"that takes is counted") || !strings.Contains(err.Error(), "features.csv:") {
		t.Errorf("%v", err)
	}
}

// Limits of a front end need samples.
func TestLimitsOfAFrontEndWithoutSamples(t *testing.T) {
	for _, limit := range []string{"interrupt = 40", `interrupt_time = "3 us"`,
		`features_time = "3 ms"`} {
		_, err := rawCity(t, 3, [3]string{"job.toml", "step_time = \"1 ms\"", limit},
			[3]string{"features.csv", ",level,,,", ",,,,"}, [3]string{"job.toml", "[raw]\n" +
				"selection = \"raw_selection.csv\"\nsignoff = \"raw_signoff.csv\"\nrate = " +
				"\"10 Hz\"\n" +
				"window = 3\nperiod = \"1 s\"\n", ""},
			[3]string{"job.toml", "[[channel]]\nname", "# name"},
			[3]string{"job.toml", "column = \"thermometer\"\nconverter", "# converter"})
		name, _, _ := strings.Cut(limit, " ")
		if err == nil || !strings.Contains(err.Error(), "the limit "+name+" needs samples") {
			t.Errorf("%s: %v", limit, err)
		}
	}
}

// A coarse converter has a coarse floor where the job gives none: what the recordings have below it
// is said to be below the floor, with the steps and where it comes from, and not put down to the
// definition of the feature.
func TestStepsBelowTheFloorAreNamed(t *testing.T) {
	for _, c := range []struct {
		converter string
		says      string
	}{
		{"bits = 12", ""},
		{"bits = 3", "14.29 degC (one step of its converter, since the job gives none)"},
		{"bits = 12 }\nfloor = \"9 degC\" #", "9 degC (as the job says)"},
	} {
		in, err := rawCity(t, 40, [3]string{"features.csv", ",level,,,", ",relative,,,"},
			[3]string{"job.toml", "bits = 12", c.converter},
			[3]string{"job.toml", "column =", "baseline = \"2 s\"\ncolumn ="})
		if err != nil {
			t.Fatal(err)
		}
		notebook := in.Raw.FrontEnd // which knows no floor
		notebook.Channels = slices.Clone(notebook.Channels)
		notebook.Channels[0].Floor = 0
		for i, s := range in.Selection.Sequences {
			values := notebook.Compute(&notebook.Features[0],
				notebook.Analyses(in.Raw.Selection[i]))
			for step, v := range values {
				s.X[step*in.Selection.Features+in.Raw.Features[0]] = v
			}
		}
		in.Signoff.Sequences = nil
		if f := in.ComputedFeatures()[0]; !f.Within || f.Faint != (c.says != "") {
			t.Errorf("%s: %+v", c.converter, f)
		}
		row := RowName{Output: "temp_max_next", Metric: dataset.RMSE}
		r := &Result{Inputs: in, Chain: &Chain{Rows: []ChainRow{{RowName: row, Float: 1,
			Computed: 3, Converter: 3.1, FrontEnd: 3.1, Cut: 3.2, Fixed: 3.3}}},
			Loss: []Loss{{RowName: row, Judged: true, Verdict: Fail}}}
		r.warnChain()
		text := strings.Join(r.Warnings, "\n")
		blamesFloor := strings.Contains(text, "the floor, below which features are 0, adds most")
		if strings.Contains(text, "steps of temp_max lie below the floor of") != (c.says != "") ||
			!strings.Contains(text, c.says) || blamesFloor != (c.says != "") ||
			strings.Contains(text, "the definition of features") == blamesFloor {
			t.Errorf("%s: %s", c.converter, text)
		}
	}
}

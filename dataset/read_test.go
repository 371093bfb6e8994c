package dataset

import (
	"reflect"
	"slices"
	"strings"
	"testing"
)

func readRecording(t *testing.T, text string) *Recordings {
	t.Helper()
	rec, err := ReadCSV(strings.NewReader(text), "rec.csv", []string{"a", "b"},
		Reference{Outputs: []string{"y"}})
	if err != nil {
		t.Fatal(err)
	}
	return rec
}

const plainRecording = `sequence,scenario,t,a,b,y
0,cold,0,1,2,3
0,cold,0.5,-4,5e2,.6
one,warm,-7,7,8,9
`

func plainSequences() []*Sequence {
	return []*Sequence{
		{Name: "0", Scenario: "cold", File: "rec.csv", Line: 2, Steps: 2, Duration: 0.5,
			X: []float64{1, 2, -4, 500}, Y: []float64{3, 0.6}},
		{Name: "one", Scenario: "warm", File: "rec.csv", Line: 4, Steps: 1, Start: -7,
			X: []float64{7, 8}, Y: []float64{9}},
	}
}

func TestReadCSV(t *testing.T) {
	for _, c := range []struct{ name, text string }{
		{"plain", plainRecording},
		{"byte-order mark", "\ufeff" + plainRecording},
		{"CR LF", strings.ReplaceAll(plainRecording, "\n", "\r\n")},
		{"no line end at the end", strings.TrimSuffix(plainRecording, "\n")},
		{"byte-order mark and CR LF", "\ufeff" + strings.ReplaceAll(plainRecording, "\n", "\r\n")},
		{"blanks around cells", strings.ReplaceAll(plainRecording, ",", " , ")},
		{"quoted cells", strings.ReplaceAll(strings.ReplaceAll(plainRecording, "cold", `"cold"`),
			"sequence", `"sequence"`)},
		{"other order of columns",
			"y,b,t,a,scenario,sequence\n3,2,0,1,cold,0\n.6,5e2,0.5,-4,cold,0\n9,8,-7,7,warm,one\n"},
		{"extra columns",
			"note,sequence,scenario,t,a,b,c,y\nx,0,cold,0,1,2,nan,3\n,0,cold,0.5,-4,5e2,,.6\n?,one,warm,-7,7,8,1,9\n"},
	} {
		t.Run(c.name, func(t *testing.T) {
			rec := readRecording(t, c.text)
			if !reflect.DeepEqual(rec.Sequences, plainSequences()) {
				for i, s := range rec.Sequences {
					t.Errorf("sequence %d: %+v", i, *s)
				}
			}
			if rec.Features != 2 || rec.Outputs != 1 || rec.Steps() != 3 {
				t.Errorf("%d features, %d outputs, %d steps; want 2, 1, 3", rec.Features,
					rec.Outputs, rec.Steps())
			}
		})
	}
}

// The order of features in the result is that of the call, not of the file.
func TestReadCSVFollowsTheOrderOfTheNetwork(t *testing.T) {
	rec, err := ReadCSV(strings.NewReader(plainRecording), "rec.csv", []string{"y", "b"},
		Reference{Outputs: []string{"a", "b"}})
	if err != nil {
		t.Fatal(err)
	}
	if s := rec.Sequences[0]; !slices.Equal(s.X, []float64{3, 2, 0.6, 500}) ||
		!slices.Equal(s.Y, []float64{1, 2, -4, 500}) {
		t.Errorf("X %v, Y %v", s.X, s.Y)
	}
}

func TestScenariosStandInOrderOfTheirFirstSequence(t *testing.T) {
	rec := readRecording(t,
		"sequence,scenario,t,a,b,y\n0,w,0,0,0,0\n1,c,0,0,0,0\n2,w,0,0,0,0\n3,a,0,0,0,0\n")
	if got := rec.Scenarios(); !slices.Equal(got, []string{"w", "c", "a"}) {
		t.Errorf("scenarios %v, want [w c a]", got)
	}
}

func TestReadFeatures(t *testing.T) {
	want := []Feature{
		{Name: "p_level", Channel: "supply", Kind: "level", Unit: "bar", Mean: 120.5, Std: 2,
			FrontEnd: "spectrum", Line: 2},
		{Name: "oil_t", Channel: "tank", Kind: "level", Unit: "degC", Mean: -3, Std: 0.25, Line: 3},
	}
	for _, c := range []struct{ name, text string }{
		{"plain", "name,channel,kind,unit,mean,std,front_end\np_level,supply,level,bar,120.5,2,spectrum\noil_t,tank,level,degC,-3,0.25,\n"},
		{"other order, mark, CR LF, extra column",
			"\ufeffstd,front_end,name,note,kind,channel,mean,unit\r\n2,spectrum,p_level,x,level,supply,120.5,bar\r\n0.25,,oil_t,,level,tank,-3,degC"},
	} {
		got, err := ReadFeatures(strings.NewReader(c.text), "features.csv")
		if err != nil {
			t.Fatal(err)
		}
		if !slices.Equal(got, want) {
			t.Errorf("%s: %+v, want %+v", c.name, got, want)
		}
	}
	got, err := ReadFeatures(strings.NewReader("name,channel,kind,unit,mean,std\na,c,k,,0,1\n"),
		"features.csv")
	if err != nil {
		t.Fatal(err)
	}
	if !slices.Equal(got, []Feature{{Name: "a", Channel: "c", Kind: "k", Std: 1, Line: 2}}) {
		t.Errorf("without front_end: %+v", got)
	}
	if names := FeatureNames(want); !slices.Equal(names, []string{"p_level", "oil_t"}) {
		t.Errorf("names %v", names)
	}
}

func TestReadOutputs(t *testing.T) {
	got, err := ReadOutputs(
		strings.NewReader("\ufeffunit,mean,note,std,name\r\nL/min,0.5,x,2,leak\r\n% "+
			"vol,-1,,0.1,air\r\n"), "outputs.csv")
	if err != nil {
		t.Fatal(err)
	}
	want := []Output{{Name: "leak", Unit: "L/min", Mean: 0.5, Std: 2, Line: 2},
		{Name: "air", Unit: "% vol", Mean: -1, Std: 0.1, Line: 3}}
	if !slices.Equal(got, want) {
		t.Errorf("%+v, want %+v", got, want)
	}
	if names := OutputNames(got); !slices.Equal(names, []string{"leak", "air"}) {
		t.Errorf("names %v", names)
	}
}

func TestSharedFindsEqualSequencesUnderOtherNames(t *testing.T) {
	a := readRecording(t, plainRecording)
	b := readRecording(t,
		"sequence,scenario,t,a,b,y\nx,cold,0,1,2,3\nnew,warm,3,7,8,9\nx2,cold,0,1,2,3\nx2,cold,1,-4,500,7\nx3,cold,0,-4,500,7\nx3,cold,1,1,2,7\n")
	shared := Shared(a, b)
	var names []string
	for _, s := range shared {
		names = append(names, s.Name)
	}
	// Sequence x is only the beginning of sequence 0, x3 has its steps the other way round.
	if !slices.Equal(names, []string{"new", "x2"}) {
		t.Errorf("shared %v, want [new x2]", names)
	}
	if got := Shared(a, &Recordings{Features: 2, Outputs: 1}); len(got) != 0 {
		t.Errorf("shared with nothing: %v", got)
	}
}

func TestJoin(t *testing.T) {
	a, b := readRecording(t, plainRecording), readRecording(t, plainRecording)
	all := Join(a, b, a)
	if want := slices.Concat(a.Sequences, b.Sequences, a.Sequences); !slices.Equal(all.Sequences,
		want) {
		t.Errorf("sequences %v, want %v", all.Sequences, want)
	}
	if all.Features != 2 || all.Outputs != 1 || all.Steps() != 9 || len(a.Sequences) != 2 {
		t.Errorf("%d features, %d outputs, %d steps, parts of %d", all.Features, all.Outputs,
			all.Steps(), len(a.Sequences))
	}
	defer func() {
		if recover() == nil {
			t.Error("Join of recordings with different columns does not panic")
		}
	}()
	Join(a, &Recordings{Features: 2, Outputs: 2})
}

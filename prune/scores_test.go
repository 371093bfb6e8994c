package prune

import (
	"encoding/csv"
	"errors"
	"io"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"testing"
	"testing/iotest"

	"kerf/dataset"
	"kerf/fault"
)

func readScores(text string) (*Scores, error) {
	return ReadScores(strings.NewReader(text), "scores.csv", []string{"a", "b"},
		[]string{"leak", "air"}, []string{"cold", "warm"})
}

func TestReadScores(t *testing.T) {
	all := []Column{{All, All, []float64{0.25, 3}}}
	fine := []Column{{"warm", "air", []float64{1, 0}}, {All, "leak", []float64{2, 2.5}}}
	const fineText = "feature,scenario,output,score\n" +
		"b,warm,air,0\na,all,leak,2\na,warm,air,1\nb,all,leak,2.5\n"
	for _, c := range []struct {
		name, text string
		want       []Column
	}{
		{"two columns", "feature,score\na,0.25\nb,3\n", all},
		{"spelled out", "feature,scenario,output,score\nb,all,all,3\na,all,all,.25\n", all},
		{"mark, CR LF, blanks, other order, extra column", "\ufeffscore,note, feature\r\n3,x, " +
			"b\r\n 2.5e-1 ,,a\r\n", all},
		{"no output", "feature,scenario,score\na,cold,0.25\nb,cold,3\n",
			[]Column{{"cold", All, []float64{0.25, 3}}}},
		{"no scenario", "feature,output,score\na,air,0.25\nb,air,3\n",
			[]Column{{All, "air", []float64{0.25, 3}}}},
		{"several", fineText, fine},
	} {
		got, err := readScores(c.text)
		if err != nil {
			t.Fatalf("%s: %v", c.name, err)
		}
		if !reflect.DeepEqual(got, &Scores{Items: []string{"a", "b"}, Columns: c.want}) {
			t.Errorf("%s: %+v, want %+v", c.name, got, c.want)
		}
	}
}

func TestScoresThatAreRefused(t *testing.T) {
	const header = "feature,scenario,output,score\n"
	const start = header + "a,cold,air,1\n"
	for _, c := range []struct {
		name, text string
		line       int
		column     string
		msg        string
	}{
		{"empty file", "", 0, "", "the file is empty"},
		{"header only", header, 0, "", "the file holds no score"},
		{"no feature column", "name,score\n", 1, "feature", "the column is missing"},
		{"no score column", "feature,scenario\n", 1, "score", "the column is missing"},
		{"unknown feature", start + "c,cold,air,1\n", 3, "feature",
			`score for the unknown feature "c"`},
		{"unknown scenario", start + "b,hot,air,1\n", 3, "scenario",
			`score for the scenario "hot", of which the selection recordings hold no sequence`},
		{"empty scenario", start + "b,,air,1\n", 3, "scenario",
			`score for the scenario "", of which the selection recordings hold no sequence`},
		{"unknown output", start + "b,cold,oil,1\n", 3, "output",
			`score for the unknown output "oil"`},
		{"negative", start + "b,cold,air,-0.5\n", 3, "score", `"-0.5" is below 0`},
		{"NaN", start + "b,cold,air,nan\n", 3, "score", `nan is not a finite number`},
		{"infinite", start + "b,cold,air,Inf\n", 3, "score", `Inf is not a finite number`},
		{"empty", start + "b,cold,air,\n", 3, "score", `the cell is empty`},
		{"text behind an empty line", start + "\nb,cold,air,high\n", 4, "score",
			`"high" is not a number`},
		{"twice", start + "b,cold,air,1\na,cold,air,2\n", 4, "feature",
			"second score for a in scenario cold, output air"},
		{"twice without columns", "feature,score\na,1\na,1\n", 3, "feature",
			"second score for a in scenario all, output all"},
		{"incomplete", start + "b,cold,air,1\nb,warm,air,1\n", 0, "",
			"no score for feature a in scenario warm, output air"},
		{"cell missing", start + "b,cold,air\n", 3, "", "the line has another number of cells " +
			"than the header (4)"},
		{"quote in the first cell", start + "b\"c,cold,air,1\n", 3, "",
			`bare " in non-quoted-field`},
		{"column twice", "feature,score,score\na,1,2\nb,1,2\n", 1, "score",
			"the column stands twice in the header"},
		{"quote in the header", "fea\"ture,score\n", 1, "", `bare " in non-quoted-field`},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, err := readScores(c.text)
			var got *fault.Error
			if !errors.As(err, &got) || !errors.Is(err, dataset.ErrInput) {
				t.Fatalf("error %v, want one of kind dataset.ErrInput", err)
			}
			column := strings.TrimPrefix(got.Name, "column ")
			if got.File != "scores.csv" || got.Line != c.line || column != c.column ||
				got.Msg != c.msg {
				t.Errorf("%q at line %d, column %q; want %q at %d, %q", got.Msg, got.Line,
					column, c.msg, c.line, c.column)
			}
			if got.Hint == "" {
				t.Error("no hint")
			}
		})
	}
}

// An error of the disk or network is handed on, not turned into an input error.
func TestReadErrorsAreHandedOn(t *testing.T) {
	broken := errors.New("disk on fire")
	for _, start := range []string{"", "feature,score\na,1\n"} {
		_, err := ReadScores(io.MultiReader(strings.NewReader(start), iotest.ErrReader(broken)),
			"scores.csv", []string{"a"}, nil, nil)
		if !errors.Is(err, broken) || errors.Is(err, dataset.ErrInput) {
			t.Errorf("after %d bytes: error %v, want %v", len(start), err, broken)
		}
	}
}

func names(ranking []Ranked) string {
	var all []string
	for _, r := range ranking {
		all = append(all, r.Name)
	}
	return strings.Join(all, " ")
}

func TestRanking(t *testing.T) {
	abc := []string{"a", "b", "c"}
	for _, c := range []struct {
		name    string
		columns []Column
		want    []Ranked
	}{
		{"shares of one column", []Column{{All, All, []float64{3, 1, 4}}},
			[]Ranked{{1, "b", 1.0 / 8, All, All}, {0, "a", 3.0 / 8, All, All},
				{2, "c", 4.0 / 8, All, All}}},
		// a is nothing in cold, but most of warm; c is a fifth in both.
		{"the worst case decides",
			[]Column{{"cold", All, []float64{0, 8, 2}}, {"warm", All, []float64{6, 2, 2}}},
			[]Ranked{{2, "c", 0.2, "cold", All}, {0, "a", 0.6, "warm", All},
				{1, "b", 0.8, "cold", All}}},
		{"over outputs as well",
			[]Column{{"cold", "leak", []float64{1, 1, 2}}, {"cold", "air", []float64{90, 1, 9}}},
			[]Ranked{{1, "b", 0.25, "cold", "leak"}, {2, "c", 0.5, "cold", "leak"},
				{0, "a", 0.9, "cold", "air"}}},
		{"fine columns beat all",
			[]Column{{All, All, []float64{0, 0, 1}}, {"cold", All, []float64{0, 0, 1}},
				{All, "leak", []float64{0, 0, 1}}, {"cold", "leak", []float64{3, 2, 1}}},
			[]Ranked{{2, "c", 1.0 / 6, "cold", "leak"}, {1, "b", 2.0 / 6, "cold", "leak"},
				{0, "a", 3.0 / 6, "cold", "leak"}}},
		// Per scenario over all outputs, and per output over all scenarios, but
		// no column for both: neither is finer than the other.
		{"two half-fine columns",
			[]Column{{All, All, []float64{0, 0, 1}}, {"cold", All, []float64{5, 1, 4}},
				{All, "leak", []float64{1, 7, 2}}},
			[]Ranked{{2, "c", 0.4, "cold", All}, {0, "a", 0.5, "cold", All},
				{1, "b", 0.7, All, "leak"}}},
		{"equal items keep their order", []Column{{All, All, []float64{1, 1, 0}}},
			[]Ranked{{2, "c", 0, All, All}, {0, "a", 0.5, All, All}, {1, "b", 0.5, All, All}}},
		{"a column of zeros says nothing",
			[]Column{{"cold", All, []float64{0, 0, 0}}, {"warm", All, []float64{1, 0, 3}}},
			[]Ranked{{1, "b", 0, All, All}, {0, "a", 0.25, "warm", All},
				{2, "c", 0.75, "warm", All}}},
	} {
		t.Run(c.name, func(t *testing.T) {
			if got := (&Scores{Items: abc, Columns: c.columns}).Ranking(); !slices.Equal(got,
				c.want) {
				t.Errorf("%+v, want %+v", got, c.want)
			}
		})
	}
}

func readTable[T any](t *testing.T, name string, read func(r io.Reader) (T, error)) T {
	t.Helper()
	f, err := os.Open(filepath.Join("..", "testdata", "cityweather", name))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	table, err := read(f)
	if err != nil {
		t.Fatal(err)
	}
	return table
}

func cityWeatherScores(t *testing.T) *Scores {
	features := readTable(t, "features.csv", func(r io.Reader) ([]dataset.Feature, error) {
		return dataset.ReadFeatures(r, "features.csv")
	})
	outputs := readTable(t, "outputs.csv", func(r io.Reader) ([]dataset.Output, error) {
		return dataset.ReadOutputs(r, "outputs.csv")
	})
	return readTable(t, "scores.csv", func(r io.Reader) (*Scores, error) {
		return ReadScores(r, "scores.csv", dataset.FeatureNames(features),
			dataset.OutputNames(outputs),
			[]string{"seattle_cold", "seattle_warm", "newyork_cold", "newyork_warm"})
	})
}

// The ranking of a real file is computed again from its rows: the largest share of a feature in any
// single scenario and output.
func TestCityWeatherRanking(t *testing.T) {
	rows := readTable(t, "scores.csv", func(r io.Reader) ([][]string, error) {
		return csv.NewReader(r).ReadAll()
	})
	columns := map[string]map[string]float64{} // scenario and output, then feature
	for _, row := range rows[1:] {
		feature, scenario, output := row[0], row[1], row[2]
		if scenario == All || output == All {
			continue
		}
		score, err := strconv.ParseFloat(row[3], 64)
		if err != nil {
			t.Fatal(err)
		}
		if columns[scenario+" "+output] == nil {
			columns[scenario+" "+output] = map[string]float64{}
		}
		columns[scenario+" "+output][feature] = score
	}
	shares := map[string]float64{}
	for _, column := range columns {
		sum := 0.0
		for _, score := range column {
			sum += score
		}
		for feature, score := range column {
			shares[feature] = math.Max(shares[feature], score/sum)
		}
	}
	ranking := cityWeatherScores(t).Ranking()
	if len(ranking) != 12 || len(shares) != 12 { // README: 12 features
		t.Fatalf("%d ranked of %d features, want 12", len(ranking), len(shares))
	}
	for i, r := range ranking {
		if math.Abs(r.Share-shares[r.Name]) > equal {
			t.Errorf("%s: share %v, want %v", r.Name, r.Share, shares[r.Name])
		}
		if i > 0 && r.Share < ranking[i-1].Share {
			t.Errorf("%s stands behind %s, which has more", r.Name, ranking[i-1].Name)
		}
		if r.Scenario == All || r.Output == All {
			t.Errorf("%s: worst case in %s, %s", r.Name, r.Scenario, r.Output)
		}
	}
}

// Two groups of fifteen equal items: more than a sort that is not stable leaves in their order.
func TestEqualItemsKeepTheirOrder(t *testing.T) {
	scores := &Scores{Columns: []Column{{Scenario: All, Output: All}}}
	for i := range 30 {
		scores.Items = append(scores.Items, strconv.Itoa(i))
		scores.Columns[0].Values = append(scores.Columns[0].Values, float64(1+i%2))
	}
	ranking := scores.Ranking()
	for i := range 15 {
		if low, high := ranking[i].Item, ranking[15+i].Item; low != 2*i || high != 2*i+1 {
			t.Errorf("places %d and %d: items %d and %d, want %d and %d", i, 15+i, low, high, 2*i,
				2*i+1)
		}
	}
}

// An output in mL/min instead of L/min has scores a thousand times as large.
func TestUnitsOfOutputsDoNotMatter(t *testing.T) {
	scores := cityWeatherScores(t)
	want := scores.Ranking()
	for _, c := range scores.Columns {
		if c.Output != "temp_min_next" {
			continue
		}
		for i := range c.Values {
			c.Values[i] *= 1000
		}
	}
	got := scores.Ranking()
	if names(got) != names(want) {
		t.Errorf("ranking %s, before %s", names(got), names(want))
	}
	for i := range got {
		if math.Abs(got[i].Share-want[i].Share) > equal {
			t.Errorf("%s: share %v, before %v", got[i].Name, got[i].Share, want[i].Share)
		}
	}
}

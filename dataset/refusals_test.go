package dataset

import (
	"errors"
	"io"
	"strings"
	"testing"
	"testing/iotest"

	"kerf/fault"
)

// Cases mark the wrong place in their text, see marker_test.go. A missing column cannot be marked:
// missing names it, and the place is line 1.
type refusal struct {
	name, text, missing, msg string
}

func checkRefusals(t *testing.T, file string, cases []refusal, read func(text string) error) {
	t.Helper()
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			text, line, column := unmark(t, c.text)
			if c.missing != "" {
				line, column = 1, c.missing
			}
			checkInputError(t, read(text),
				fault.Error{File: file, Line: line, Name: InColumn(column), Msg: c.msg})
		})
	}
}

const (
	recordingHeader = "sequence,scenario,t,a,b,y\n"
	emptyCell       = "the cell is empty"
)

func TestRecordingsThatAreRefused(t *testing.T) {
	row := func(text string) string { return recordingHeader + "0,cold,0,1,2,3\n" + text }
	checkRefusals(t, "rec.csv", []refusal{
		{"empty file", "", "", "the file is empty"},
		{"byte-order mark only", "\ufeff", "", "the file is empty"},
		{"header only", recordingHeader, "", "the recording holds no complete sequence"},
		{"no sequence", "scenario,t,a,b,y\n", "sequence", "the column is missing"},
		{"no scenario", "sequence,t,a,b,y\n", "scenario", "the column is missing"},
		{"no time", "sequence,scenario,a,b,y\n", "t", "the column is missing"},
		{"no feature", "sequence,scenario,t,a,y\n", "b", "the column is missing"},
		{"no output", "sequence,scenario,t,a,b\n", "y", "the column is missing"},
		{"capital", "sequence,scenario,t,A,b,y\n", "a", "the column is missing"},
		{"column twice", "sequence,scenario,t,a,b,»a,y\n", "",
			"the column stands twice in the header"},
		{"empty sequence name", row("»,cold,1,1,2,3\n"), "", "the sequence name is empty"},
		{"blank sequence name", row("» ,cold,1,1,2,3\n"), "", "the sequence name is empty"},
		{"empty scenario", row("1,»,1,1,2,3\n"), "", "the scenario is empty"},
		{"reserved scenario", row("1,»all,1,1,2,3\n"), "", `"all" cannot name a scenario`},
		{"scattered sequence", row("1,cold,0,1,2,3\n\n»0,cold,1,1,2,3\n"), "",
			"sequence 0 was already seen at line 2"},
		{"scenario changes", row("0,»warm,1,1,2,3\n"), "", "the scenario changes from cold to " +
			"warm inside sequence 0"},
		{"scenario ends", row("0,»,1,1,2,3\n"), "", "the scenario changes from cold to  inside " +
			"sequence 0"},
		{"time stands", row("0,cold,1.5,1,2,3\n0,cold,»1.50,1,2,3\n"), "",
			"time does not grow: 1.50 follows 1.5 in sequence 0"},
		{"time runs back", row("0,cold,»-1e-3,1,2,3\n"), "", "time does not grow: -1e-3 follows " +
			"0 in sequence 0"},
		{"no time in the first step", recordingHeader + "0,cold,»,1,2,3\n", "", emptyCell},
		{"time is text", row("0,cold,»noon,1,2,3\n"), "", `"noon" is not a number`},
		{"empty feature", row("0,cold,1,1,»,3\n"), "", emptyCell},
		{"blank feature", row("0,cold,1,1,»  ,3\n"), "", emptyCell},
		{"feature is text", row("0,cold,1,»1 bar,2,3\n"), "", `"1 bar" is not a number`},
		{"decimal comma", row("0,cold,1,\"»1,5\",2,3\n"), "", `"1,5" is not a number`},
		{"feature is NaN", row("0,cold,1,1,»NaN,3\n"), "", "NaN is not a finite number"},
		{"feature is infinite", row("0,cold,1,1,»-inf,3\n"), "", "-inf is not a finite number"},
		{"groups of digits", row("0,cold,1,»1_000,2,3\n"), "", `"1_000" is not a number`},
		{"groups of hexadecimal digits", row("0,cold,1,»0x_1p0,2,3\n"), "",
			`"0x_1p0" is not a number`},
		{"hexadecimal", row("0,cold,1,»0x1p3,2,3\n"), "", `"0x1p3" is not a number`},
		{"hexadecimal in capitals", row("0,cold,1,»0X1P3,2,3\n"), "", `"0X1P3" is not a number`},
		{"feature beyond float64", row("0,cold,1,1,»1e999,3\n"), "", `"1e999" is not a number`},
		{"empty output", row("0,cold,1,1,2,»\n"), "", emptyCell},
		{"output is NaN", row("0,cold,1,1,2,»nan\n"), "", "nan is not a finite number"},
		{"cell missing", row("¶0,cold,1,1,2\n"), "", "the line has another number of cells than " +
			"the header (6)"},
		{"cell too many", row("¶0,cold,1,1,2,3,4\n"), "", "the line has another number of cells " +
			"than the header (6)"},
		{"quote inside a cell", row("¶0,cold,1,1\"2,3,4\n"), "", `bare " in non-quoted-field`},
		{"quote in the header", "¶seq\"uence,t\n", "", `bare " in non-quoted-field`},
		{"text behind a quote", row("¶\"0\"x,cold,1,1,2,3\n"), "",
			`extraneous or missing " in quoted-field`},
		{"separated by semicolons", "¶sequence;scenario;t;a;b;y\n0;cold;0;1,5;2;3\n", "",
			`the columns are separated by ";", not by commas`},
		{"separated by tabs", "¶sequence\tscenario\tt\ta\tb\ty\n", "",
			`the columns are separated by "\t", not by commas`},
		{"decimal commas without quotes", row("¶0,cold,1,1,5,2,3\n"), "",
			"the line has another number of cells than the header (6)"},
		{"UTF-16", "¶\xff\xfes\x00", "", "the file is UTF-16, not UTF-8"},
		{"code of a missing value", row("0,cold,1,»1e35,2,3\n"), "",
			`"1e35" is beyond what float32 holds`},
		{"negative code of a missing value", row("0,cold,1,1,2,»-9.9e37\n"), "",
			`"-9.9e37" is beyond what float32 holds`},
		{"long text in a number", row("0,cold,1,»" + strings.Repeat("x", 10_000) + ",2,3\n"), "",
			`"` + strings.Repeat("x", 40) + `"... is not a number`},
		{"long sequence name", row("»" + strings.Repeat("n", 10_000) + ",cold,1,1,2,3\n"), "",
			"the text has 10000 characters, at most 200 are shown"},
		{"line end in a sequence name", row("\"»a\nb\",cold,1,1,2,3\n"), "",
			"the text holds the character U+000A, which is not shown or moves others"},
		{"right-to-left mark in a scenario", row("1,»\u202ewarm,1,1,2,3\n"), "",
			"the text holds the character U+202E, which is not shown or moves others"},
		{"escape sequence in a scenario", row("1,»\x1b[31m,1,1,2,3\n"), "",
			"the text holds the character U+001B, which is not shown or moves others"},
		{"two blanks in a scenario", row("1,»hot  oil,1,1,2,3\n"), "",
			"the text holds two blanks in a row, which are shown as one"},
		{"blank that does not break in a scenario", row("1,»hot\u00a0oil,1,1,2,3\n"), "",
			"the text holds the character U+00A0, which looks like a blank"},
		{"Latin-1 in a scenario", row("1,»w\xe4rm,1,1,2,3\n"), "", "the text is not UTF-8"},
		{"CR LF and a bad cell", strings.ReplaceAll(row("0,cold,1,»x,2,3\n"), "\n", "\r\n"), "",
			`"x" is not a number`},
	}, func(text string) error {
		_, err := ReadCSV(strings.NewReader(text), "rec.csv", []string{"a", "b"},
			Reference{Outputs: []string{"y"}})
		return err
	})
}

func TestFeaturesThatAreRefused(t *testing.T) {
	const header = "name,channel,kind,unit,mean,std\n"
	const row = "a,c,level,bar,0,1\n"
	checkRefusals(t, "features.csv", append(declarationRefusals(header, row),
		refusal{"header only", header, "", "no feature is declared"},
		refusal{"no channel", "name,kind,unit,mean,std\n", "channel", "the column is missing"},
		refusal{"no kind", "name,channel,unit,mean,std\n", "kind", "the column is missing"},
	), func(text string) error {
		_, err := ReadFeatures(strings.NewReader(text), "features.csv")
		return err
	})
}

func TestOutputsThatAreRefused(t *testing.T) {
	const header = "name,unit,mean,std\n"
	const row = "a,bar,0,1\n"
	checkRefusals(t, "outputs.csv", append(declarationRefusals(header, row),
		refusal{"header only", header, "", "no output is declared"},
	), func(text string) error {
		_, err := ReadOutputs(strings.NewReader(text), "outputs.csv")
		return err
	})
}

// declarationRefusals lists what ReadFeatures and ReadOutputs both refuse; row declares "a", and
// its last cells are mean and std.
func declarationRefusals(header, row string) []refusal {
	start := header + row
	cells := strings.TrimSuffix(strings.TrimPrefix(row, "a"), "0,1\n")
	without := func(name string) string {
		return strings.Replace(strings.Replace(header, ","+name, "", 1), name+",", "", 1)
	}
	return []refusal{
		{"empty file", "", "", "the file is empty"},
		{"no name", without("name"), "name", "the column is missing"},
		{"no unit", without("unit"), "unit", "the column is missing"},
		{"no mean", without("mean"), "mean", "the column is missing"},
		{"no std", without("std"), "std", "the column is missing"},
		{"empty name", start + "»" + cells + "0,1\n", "", "the name is empty"},
		{"name twice", start + "b" + cells + "0,1\n»a" + cells + "0,1\n", "",
			"the name a stands twice"},
		{"name of the sequence column", start + "»sequence" + cells + "0,1\n", "",
			"the name sequence is taken by a column of the recordings"},
		{"name of the scenario column", start + "»scenario" + cells + "0,1\n", "",
			"the name scenario is taken by a column of the recordings"},
		{"name of the time column", start + "»t" + cells + "0,1\n", "",
			"the name t is taken by a column of the recordings"},
		{"name for all of them", start + "»all" + cells + "0,1\n", "",
			`"all" cannot name a feature or output`},
		{"mean is text", start + "b" + cells + "»zero,1\n", "", `"zero" is not a number`},
		{"10,000 characters", start + "»" + strings.Repeat("n", 10_000) + cells + "0,1\n", "",
			"the text has 10000 characters, at most 200 are shown"},
		{"invisible character", start + "»b\u200b" + cells + "0,1\n", "",
			"the text holds the character U+200B, which is not shown or moves others"},
		{"mean beyond float32", start + "b" + cells + "»1e31,1\n", "",
			`"1e31" is beyond what float32 holds`},
		{"std near 0", start + "b" + cells + "0,»1e-31\n", "",
			"mean and std must lie within what float32 holds"},
		{"empty mean", start + "b" + cells + "»,1\n", "", emptyCell},
		{"std is NaN", start + "b" + cells + "0,»nan\n", "", "nan is not a finite number"},
		{"empty std", start + "b" + cells + "0,»\n", "", emptyCell},
		{"std is zero", start + "b" + cells + "0,»0\n", "", "std must be above 0"},
		{"std is negative", start + "b" + cells + "0,»-1\n", "", "std must be above 0"},
		{"cell missing", start + "¶b\n", "", "the line has another number of cells than the " +
			"header (" + string('1'+rune(strings.Count(header, ","))) + ")"},
	}
}

// An error of the disk or network is returned unchanged, not as an input error.
func TestReadErrorsAreHandedOn(t *testing.T) {
	broken := errors.New("disk on fire")
	for _, start := range []string{"", recordingHeader + "0,cold,0,1,2,3\n"} {
		_, err := ReadCSV(io.MultiReader(strings.NewReader(start), iotest.ErrReader(broken)),
			"rec.csv", []string{"a", "b"}, Reference{Outputs: []string{"y"}})
		if !errors.Is(err, broken) || errors.Is(err, ErrInput) {
			t.Errorf("after %d bytes: error %v, want %v", len(start), err, broken)
		}
	}
}

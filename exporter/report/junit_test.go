package report

import (
	"encoding/xml"
	"slices"
	"strings"
	"testing"

	"kerf/budget"
)

// What did not pass is a failure, also where recordings are too few; counts add up, and text from
// files stays text.
func TestJUnit(t *testing.T) {
	s := smallSignoff()
	s.Verdict = budget.DoesNotFit
	s.Loss[0].Verdict, s.Loss[0].Scenario = budget.NotEnough, `<"a&b">`
	s.Cost[2].Verdict = budget.Fail
	s.Loss = slices.Insert(s.Loss, 1, s.Loss[0])
	text, err := s.JUnit()
	if err != nil {
		t.Fatal(err)
	}
	var got testSuites
	if err := xml.Unmarshal(text, &got); err != nil {
		t.Fatalf("%v\n%s", err, text)
	}
	if got.Tests != 4 || got.Failures != 4 || len(got.Suites) != 3 {
		t.Fatalf("%d tests, %d failures, %d suites; want 4, 4 and 3", got.Tests, got.Failures,
			len(got.Suites))
	}
	names := []string{got.Suites[1].Cases[0].Name, got.Suites[1].Cases[1].Name,
		got.Suites[2].Cases[0].Name}
	if want := []string{`leakage/<"a&b">/rmse`, `leakage/<"a&b">/rmse, second tolerance`,
		"m4/flash"}; !slices.Equal(names, want) {
		t.Errorf("names %q, want %q", names, want)
	}
	if f := got.Suites[2].Cases[0].Failure; f == nil || f.Type != budget.Fail ||
		!strings.Contains(f.Message, "2.9 KiB, limit 3.9 KiB") {
		t.Errorf("failure %+v", f)
	}
}

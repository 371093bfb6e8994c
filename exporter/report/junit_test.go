package report

import (
	"encoding/xml"
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
	text, err := s.JUnit()
	if err != nil {
		t.Fatal(err)
	}
	var got testSuites
	if err := xml.Unmarshal(text, &got); err != nil {
		t.Fatalf("%v\n%s", err, text)
	}
	if got.Tests != 3 || got.Failures != 3 || len(got.Suites) != 3 {
		t.Errorf("%d tests, %d failures, %d suites; want 3 of each", got.Tests, got.Failures,
			len(got.Suites))
	}
	if name := got.Suites[1].Cases[0].Name; name != `<"a&b">: rmse rise` {
		t.Errorf("name %q", name)
	}
	if f := got.Suites[2].Cases[0].Failure; f == nil || f.Type != budget.Fail ||
		!strings.Contains(f.Message, "2.9 KiB, limit 3.9 KiB") {
		t.Errorf("failure %+v", f)
	}
}

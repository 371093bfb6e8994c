package report

import (
	"encoding/xml"
	"fmt"
	"slices"
	"strings"

	"kerf/budget"
)

// The elements of a test report in the XML that build servers read: suites of cases, a failure
// inside a case that failed (JUnit's format, as its Ant task writes it; without times, which
// verdicts do not have).
type (
	testSuites struct {
		XMLName  xml.Name    `xml:"testsuites"`
		Name     string      `xml:"name,attr"`
		Tests    int         `xml:"tests,attr"`
		Failures int         `xml:"failures,attr"`
		Suites   []testSuite `xml:"testsuite"`
	}
	testSuite struct {
		Name     string     `xml:"name,attr"`
		Tests    int        `xml:"tests,attr"`
		Failures int        `xml:"failures,attr"`
		Errors   int        `xml:"errors,attr"`
		Skipped  int        `xml:"skipped,attr"`
		Cases    []testCase `xml:"testcase"`
	}
	testCase struct {
		Class   string       `xml:"classname,attr"`
		Name    string       `xml:"name,attr"`
		Failure *testFailure `xml:"failure"`
		// what a case that passed says all the same
		Output string `xml:"system-out,omitempty"`
	}
	testFailure struct {
		Message string         `xml:"message,attr"`
		Type    budget.Verdict `xml:"type,attr"`
		Text    string         `xml:",chardata"`
	}
)

// overallCase is the name of the case of the verdict on the whole.
const overallCase = "whole"

// JUnit returns a test report with a case per verdict: the whole, every tolerance and every limit.
// A row that cannot be judged counts as a failure, as it does in the exit code.
func (s *Signoff) JUnit() ([]byte, error) {
	all := testSuites{Name: s.Name}
	add := func(suite, name string, verdict budget.Verdict, message string) {
		if verdict == "" {
			return
		}
		if n := len(all.Suites); n == 0 || all.Suites[n-1].Name != suite {
			all.Suites = append(all.Suites, testSuite{Name: suite})
		}
		in := &all.Suites[len(all.Suites)-1]
		c := testCase{Class: s.Name + "." + suite, Name: name}
		in.Tests++
		all.Tests++
		if verdict != budget.Pass && verdict != budget.Fits {
			c.Failure = &testFailure{message, verdict, message + "\n" + s.Caution}
			in.Failures++
			all.Failures++
		}
		if c.Failure == nil && name == overallCase {
			c.Output = s.checkedLine()
		}
		in.Cases = append(in.Cases, c)
	}
	add("verdict", overallCase, s.Verdict, s.VerdictLine())
	for _, c := range s.Causes {
		verdict := budget.Fail
		if s.Checked != "" {
			verdict = budget.Pass
		}
		add("network as given", c.Place+": "+c.Kind, verdict, c.Text)
	}
	for i, l := range s.Loss {
		value := OptionalPercent(l.Rise)
		if l.ToleranceOn == budget.OnFixed {
			value = strings.TrimSpace(Significant(l.Fixed) + " " + l.Unit)
		}
		message := fmt.Sprintf("%s: %s of %s, up to %s; tolerance %s (%s); %d sequences", l.Verdict,
			Spaced(l.Metric), value, l.upTo(), l.limit(), l.From, l.Sequences)
		if l.WouldDo > 0 {
			message += fmt.Sprintf(", about %d would do", l.WouldDo)
		}
		name := l.Text()
		if slices.ContainsFunc(s.Loss[:i], func(earlier LossRow) bool {
			return earlier.RowName == l.RowName && earlier.Verdict != ""
		}) {
			name += ", second tolerance"
		}
		add("accuracy of "+l.Output, name, l.Verdict, message)
	}
	for _, c := range s.Cost {
		message := fmt.Sprintf("%s: %s, limit %s (%s)", c.Verdict, c.ShownValue(), c.limit(),
			c.From)
		add("cost on "+c.Target, budget.CostText(c.Target, c.Resource), c.Verdict, message)
	}
	text, err := xml.MarshalIndent(all, "", "  ")
	if err != nil {
		return nil, fmt.Errorf("test report: %w", err)
	}
	return []byte(xml.Header + string(text) + "\n"), nil
}

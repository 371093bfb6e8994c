package page

import (
	"encoding/json"
	"strings"
	"testing"

	"kerf/exporter/report"
)

// hostileNames try to leave the place they stand in.
var hostileNames = []string{
	`</script><script>document.title="taken"</script>`,
	`"><img src=x onerror=document.title='taken'>`, `'*/ ]]> <!-- </style>`,
	"right\u202eto left", "\u2067isolated", "end\u2029 of a line\u2028", "{{.Name}}",
	"</text></svg><b>", "\x00\u0007",
}

// hostileSignoff puts every name wherever a name of the user's stands.
func hostileSignoff(t *testing.T) []byte {
	t.Helper()
	text := string(pageInput(t))
	for i, old := range []string{"leakage", "warm_up", "cortex-m4f", "case_drain_level",
		"off-fast_cycling-04", "air masks leakage", "unit 9 out", "L/min", "case_drain"} {
		name, err := json.Marshal(hostileNames[i])
		if err != nil {
			t.Fatal(err)
		}
		text = strings.ReplaceAll(text, `"`+old+`"`, string(name))
	}
	return []byte(text)
}

func TestHostileNamesStayText(t *testing.T) {
	page := makePage(t, hostileSignoff(t))
	if n := strings.Count(page, "<script"); n != 2 {
		t.Errorf("%d script elements, want 2", n)
	}
	if n := strings.Count(page, "</script>"); n != 2 {
		t.Errorf("%d ends of script elements, want 2", n)
	}
	if strings.Contains(page, "<img") {
		t.Error("a name has become an element")
	}
	if strings.ContainsAny(page, "\u202e\u2067\u2028\u2029\x07\x00") {
		t.Error("a hidden character is not made visible")
	}
	if !strings.Contains(page, "right&lt;U+202E&gt;to left") {
		t.Error("the mark is not shown")
	}
	var s report.Signoff
	if err := json.Unmarshal([]byte(pageData(t, page)), &s); err != nil {
		t.Fatal(err)
	}
	if s.Loss[0].Output != hostileNames[0] {
		t.Errorf("the data name the output %q, want %q", s.Loss[0].Output, hostileNames[0])
	}
}

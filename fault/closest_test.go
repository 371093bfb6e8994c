package fault

import (
	"slices"
	"strings"
	"testing"
)

func TestClosest(t *testing.T) {
	long := strings.Repeat("x", longestCompared+1)
	for _, c := range []struct {
		word  string
		known []string
		want  []string
	}{
		{"Surge", []string{"merge", "surge", "purge"}, []string{"surge"}},
		{"warm up", []string{"warm_ups", "warm_up"}, []string{"warm_up"}},
		{"step-time", []string{"steps", "step_time"}, []string{"step_time"}},
		{"SURGE", []string{"Surge", "surge"}, []string{"Surge", "surge"}}, // both, and no guess
		{"valve3", []string{"valve1", "valve2", "pump"}, []string{"valve1", "valve2"}},
		{"v9", []string{"v1", "v2", "v3", "v4"}, []string{"v1", "v2", "v3"}}, // three at most
		{"cortex-m4", []string{"cortex-m3", "cortex-m4f", "cortex-m7"}, []string{"cortex-m4f"}},
		{"öldruk", []string{"öldruck"}, []string{"öldruck"}},
		{"ÖLDRUCK", []string{"öldruck"}, []string{"öldruck"}},
		{"ä", []string{"ö"}, nil}, // one character of one, although two bytes share their first
		{"leakage", []string{"air"}, nil},
		{"x", []string{"t"}, nil},
		{"", []string{"a", "ab"}, nil},
		{"same", []string{"same", "sane"}, nil}, // a word that is known is no slip
		{"a", nil, nil},
		{"Temp", []string{"temp_max_lag", "temp_min_lag", "wind"}, // the beginning of two
			[]string{"temp_max_lag", "temp_min_lag"}},
		{"exp", []string{"export", "explain", "help"}, []string{"export", "explain"}},
		{"te", []string{"temp_max_lag"}, nil},
		{"unit", []string{"unit_one", "unit_two", "unit_three", "unit_four"}, nil}, // of too many
		{strings.ToUpper(long), []string{long}, []string{long}},
		{long + "y", []string{long}, nil},
	} {
		if got := Closest(c.word, c.known); !slices.Equal(got, c.want) {
			t.Errorf("%.20q of %.60q: %q, want %q", c.word, c.known, got, c.want)
		}
	}
}

func TestDidYouMean(t *testing.T) {
	many := strings.Split(strings.Repeat("zzzzzzzz ", mostListed+2), " ")[:mostListed+2]
	for _, c := range []struct {
		word  string
		known []string
		want  string
	}{
		{"air_", []string{"air", "leakage"}, `did you mean "air"?`},
		{"valve3", []string{"valve1", "valve2"}, `did you mean "valve1" or "valve2"?`},
		{"v9", []string{"v1", "v2", "v3"}, `did you mean "v1", "v2" or "v3"?`},
		{"none", []string{"a, b", "c", ""}, `known here: "a, b", c, ""`},
		// what a reader would not see, or would see elsewhere, is written by its code
		{"ab", []string{"ab\u202e"}, `did you mean "ab\u202e"?`},
		{"none", []string{"e\u200bf"}, `known here: "e\u200bf"`},
		{"none", many, "known here: " + strings.Join(many[:mostListed], ", ") + ", and 2 more"},
	} {
		if got := DidYouMean(c.word, c.known); got != c.want {
			t.Errorf("%q of %q: %q, want %q", c.word, c.known, got, c.want)
		}
	}
	for word, want := range map[string]string{"Air": `did you mean "air"? h`, "none": "h"} {
		if got := DidYouMeanOr(word, []string{"air"}, "h"); got != want {
			t.Errorf("%q: %q, want %q", word, got, want)
		}
	}
}

package report

import (
	"testing"
)

func TestVisible(t *testing.T) {
	for text, want := range map[string]string{
		"": "", "supply_level": "supply_level", "°C µm Ω 压力": "°C µm Ω 压力",
		"two  blanks": "two  blanks",
		"line\nbreak": "line<U+000A>break", "\x1b[31mred": "<U+001B>[31mred",
		"right\u202eto left": "right<U+202E>to left",
		"zero\u200bwidth":    "zero<U+200B>width", "line\u2028separator": "line<U+2028>separator",
		"\xff": "<U+FFFD>", "next\u0085line": "next<U+0085>line",
	} {
		if got := Visible(text); got != want {
			t.Errorf("%q becomes %q, want %q", text, got, want)
		}
	}
}

// Source of the characters: OWASP, "CSV Injection".
func TestSafeCell(t *testing.T) {
	for text, want := range map[string]string{
		"": "", "level": "level", "a=b": "a=b", "-0.5 %": "-0.5 %", "+3": "+3",
		"-18 008": "-18 008", "-2 KiB": "-2 KiB", "-1e-07": "-1e-07",
		"=1+1": "'=1+1", "+1+1": "'+1+1", "-1+1": "'-1+1",
		"-2+3+cmd|' /C calc'!A0": "'-2+3+cmd|' /C calc'!A0", "@SUM(A1)": "'@SUM(A1)",
		"=HYPERLINK(\"x\")": "'=HYPERLINK(\"x\")", "＝1": "'＝1", "\t=1": "<U+0009>=1",
		"\r=1": "<U+000D>=1", "-": "'-", "'=1": "''=1", "'single'": "''single'", "5'": "5'",
	} {
		if got := SafeCell(text); got != want {
			t.Errorf("%q becomes %q, want %q", text, got, want)
		}
	}
}

func TestMarkdownText(t *testing.T) {
	for text, want := range map[string]string{
		"leakage L/min": "leakage L/min", "a|b": `a\|b`, "<script>": "&lt;script&gt;",
		"a\nb": "a&lt;U+000A&gt;b", "x_Q12": `x\_Q12`,
		"[a](http://b)": `\[a\](http&#58;//b)`, "$x$": `\$x\$`, "@all": "&#64;all",
		"~~gone~~": `\~\~gone\~\~`, "![i](x)": `!\[i\](x)`, "a\\|b": `a\\\|b`,
	} {
		if got := markdownText(text); got != want {
			t.Errorf("%q becomes %q, want %q", text, got, want)
		}
	}
}

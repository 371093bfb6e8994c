package page

import (
	"fmt"
	"math"
	"regexp"
	"strconv"
	"testing"
)

// Contrast as defined by WCAG 2.1 (relative luminance and contrast ratio): 4.5 for
// text, 3 for what has to be seen in pictures, light and dark.
func TestContrast(t *testing.T) {
	themes := regexp.MustCompile(`(?s):root \{(.*?)\}`).FindAllStringSubmatch(styleText, -1)
	if len(themes) < 2 {
		t.Fatalf("%d themes", len(themes))
	}
	for i, theme := range themes[:2] {
		colours := map[string]string{}
		for _, m := range regexp.MustCompile(`--([a-z0-9]+): (#[0-9a-f]{6})`).FindAllStringSubmatch(
			theme[1], -1) {
			colours[m[1]] = m[2]
		}
		for name, least := range map[string]float64{"ink": 4.5, "quiet": 4.5, "c0": 4.5, "c1": 3,
			"c2": 3, "c3": 3, "c4": 3, "c5": 3, "limit": 3, "trace": 3} {
			if colours[name] == "" {
				t.Fatalf("theme %d has no colour %s", i, name)
			}
			if got := contrast(t, colours[name], colours["page"]); got < least {
				t.Errorf("theme %d: %s has contrast %.2f, want %.1f", i, name, got, least)
			}
		}
		// The deepest cell of the scenario matrix, under text.
		if got := contrast(t, colours["ink"],
			mixed(t, colours["c0"], colours["page"], deepestOpacity)); got < 4.5 {
			t.Errorf("theme %d: text on the deepest cell has contrast %.2f, want 4.5", i, got)
		}
	}
	// Black on white is 21:1 by the definition.
	if got := contrast(t, "#000000", "#ffffff"); math.Abs(got-21) > 1e-9 {
		t.Errorf("black on white has contrast %g", got)
	}
}

// contrast returns the ratio between two colours.
func contrast(t *testing.T, a, b string) float64 {
	x, y := luminance(t, a), luminance(t, b)
	return (max(x, y) + 0.05) / (min(x, y) + 0.05)
}

// channels returns red, green and blue of a colour #rrggbb, each from 0 to 1.
func channels(t *testing.T, colour string) [3]float64 {
	t.Helper()
	var c [3]float64
	for i := range c {
		v, err := strconv.ParseUint(colour[1+2*i:3+2*i], 16, 8)
		if err != nil {
			t.Fatal(err)
		}
		c[i] = float64(v) / 255
	}
	return c
}

// luminance returns the relative luminance of a colour.
func luminance(t *testing.T, colour string) float64 {
	c := channels(t, colour)
	for i, v := range c {
		if v <= 0.03928 {
			c[i] = v / 12.92
		} else {
			c[i] = math.Pow((v+0.055)/1.055, 2.4)
		}
	}
	return 0.2126*c[0] + 0.7152*c[1] + 0.0722*c[2]
}

// mixed returns the colour that a colour with an opacity gives on another.
func mixed(t *testing.T, top, below string, share float64) string {
	a, b := channels(t, top), channels(t, below)
	text := "#"
	for i := range a {
		text += fmt.Sprintf("%02x", int(math.Round(255*(share*a[i]+(1-share)*b[i]))))
	}
	return text
}

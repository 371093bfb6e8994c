package frontend

import "testing"

// A text of features.csv is a definition that is written as it is read, or an error.
func FuzzParseDefinition(f *testing.F) {
	for _, text := range []string{"level", "amplitude(2)", " phase ( 1 , supply ) ",
		"distortion(5)", "phase(1,)", "phase(1, a)b)", "amplitude(-0)", "distortion(1)",
		"amplitude(99999999999999999999)", "phase(1,phase(2))", "level()", "\xff("} {
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text string) {
		d, err := ParseDefinition(text)
		if err != nil {
			if err.Error() == "" {
				t.Fatal("an empty error")
			}
			return
		}
		if d.Kind.hasOrder() != (d.Order > 0) || d.Order > MostSamples {
			t.Fatalf("%q gives %+v", text, d)
		}
		if again, err := ParseDefinition(d.String()); err != nil || again != d {
			t.Fatalf("%q gives %q, which gives %+v, %v", text, d, again, err)
		}
	})
}

package cost

import (
	"testing"

	"kerf/targets"
)

// Estimates hold for the build that they were fitted for, whatever the order of its options and the
// rest of the version, and for no other.
func TestEstimatesHoldForTheirBuild(t *testing.T) {
	for _, name := range targets.Names() {
		p, err := targets.Load(name)
		if err != nil {
			t.Fatal(err)
		}
		if b := FittedBuild(p); !b.HasEstimates(p) || !b.IsGCC() || !IsCompilerName(b.Compiler) {
			t.Errorf("%s: no estimates for their own build %+v", name, b)
		}
	}
	m4f, err := targets.Load("cortex-m4f")
	if err != nil {
		t.Fatal(err)
	}
	m0, err := targets.Load("cortex-m0plus")
	if err != nil {
		t.Fatal(err)
	}
	const core = "-mcpu=cortex-m4 -mthumb -mfloat-abi=hard"
	for _, c := range []struct {
		profile *targets.Profile
		build   Build
		want    bool
	}{
		{m4f, Build{"arm-none-eabi-gcc 12.3.0", "-mthumb -mfloat-abi=hard -mcpu=cortex-m4", "-Os"},
			true},
		{m4f, Build{"gcc 12", core, "-Os"}, true},
		{m4f, Build{"GCC 13.2.1", core, "-Os"}, false},
		{m4f, Build{"clang 12.2.1", core, "-Os"}, false},
		{m4f, Build{"GCC 12.2.1", core, "-O3"}, false},
		{m4f, Build{"GCC 12.2.1", core, "-Os -ftree-ter"}, false},
		{m4f, Build{"GCC 12.2.1", "-mcpu=cortex-m4 -mthumb", "-Os"}, false},
		{m0, Build{"GCC 12.2.1", "-mthumb -mcpu=cortex-m0plus",
			"-Os"}, true},
		{m0, Build{"GCC 12.2.1", "-mthumb -mcpu=cortex-m0plus", "-O2"}, false},
	} {
		if got := c.build.HasEstimates(c.profile); got != c.want {
			t.Errorf("%s, %+v: estimates %v, want %v", c.profile.Name, c.build, got, c.want)
		}
	}
	for text, want := range map[string]bool{"GCC 12.2.1": true, "IAR 9": true, "GCC": false,
		"12.2": false, "GCC 12.2.Rel1": false, "GCC 12\n": false, "GCC\t12": false} {
		if IsCompilerName(text) != want {
			t.Errorf("%q: a compiler with its version %v, want %v", text, !want, want)
		}
	}
}

package targets

import (
	"math"
	"strings"
	"testing"

	"kerf/fault"
)

func TestParseBytes(t *testing.T) {
	for text, want := range map[string]int64{
		"24 KiB": 24576, "256 B": 256, "1.2 KiB": 1229, "1 MiB": 1 << 20, "0 B": 0, "24KiB": 24576,
		" 2  KiB ": 2048,
		"0.5 KiB":  512, "0.1 KiB": 103, "0.0009765625 KiB": 1, "0.00097656250001 KiB": 2,
		"1.5 B":                 2,
		"9223372036854775807 B": math.MaxInt64,
		// 2^53+1 is not a float64: the arithmetic is exact all the same.
		"9007199254740993 B": 1<<53 + 1,
	} {
		if got, err := ParseBytes(text); got != want || err != nil {
			t.Errorf("%q: %d, %v; want %d", text, got, err, want)
		}
	}
}

func TestParseOthers(t *testing.T) {
	for _, tt := range []struct {
		parse func(string) (float64, error)
		text  string
		want  float64
	}{
		{ParseSeconds, "1 ms", 1e-3}, {ParseSeconds, "100 us", 1e-4}, {ParseSeconds, "2 s", 2},
		{ParseSeconds, "500 ns", 5e-7},
		{ParseSeconds, "3 \u00b5s", 3e-6}, {ParseSeconds, "3 \u03bcs", 3e-6},
		{ParseSeconds, "0.3 ms", 3e-4},
		{ParseHertz, "64 MHz", 64e6}, {ParseHertz, "32768 Hz", 32768}, {ParseHertz, "48 kHz", 48e3},
		{ParseHertz, "1.5 GHz", 1.5e9},
		{ParseHertz, "7.3728 MHz", 7372800},
		{ParsePercent, "5 %", 0.05}, {ParsePercent, "5%", 0.05}, {ParsePercent, "12.5 %", 0.125},
		{ParsePercent, "150 %", 1.5},
		{ParseAmperes, "3.2 mA", 3.2e-3}, {ParseAmperes, "1.5 uA", 1.5e-6},
		{ParseAmperes, "2 A", 2}, {ParseAmperes, "7 nA", 7e-9},
	} {
		if got, err := tt.parse(tt.text); got != tt.want || err != nil {
			t.Errorf("%q: %v, %v; want %v", tt.text, got, err, tt.want)
		}
	}
}

func TestQuantityErrors(t *testing.T) {
	parseBytes := func(s string) (float64, error) {
		n, err := ParseBytes(s)
		return float64(n), err
	}
	const units = `write a number and a unit, such as "24 KiB"; units: B, KiB, MiB`
	for _, tt := range []struct {
		parse           func(string) (float64, error)
		text, msg, hint string
	}{
		{parseBytes, "24 kB", "unit kB is ambiguous: 1000 or 1024", "write KiB, MiB or B"},
		{parseBytes, "1 MB", "unit MB is ambiguous: 1000 or 1024", "write KiB, MiB or B"},
		{parseBytes, "24", "unit is missing", units},
		{parseBytes, "24 furlongs", `unknown unit "furlongs"`, units},
		{parseBytes, "24 kib", `unknown unit "kib"`, `did you mean "KiB"? write a number and a ` +
			`unit, such as "24 KiB"; units: B, KiB, MiB`},
		{parseBytes, "-1 B", "a memory size here cannot be negative", units},
		{parseBytes, "", "a memory size starts with a number", units},
		{parseBytes, "KiB", "a memory size starts with a number", units},
		{parseBytes, "NaN B", "a memory size starts with a number", units},
		{parseBytes, "Inf B", "a memory size starts with a number", units},
		{parseBytes, "1,5 KiB", `"1,5" is not a number`, "write a decimal point, not a comma, " +
			"and no thousands separators"},
		{parseBytes, "1.2.3 KiB", `"1.2.3" is not a number`,
			"write digits with at most one decimal point"},
		{parseBytes, ".5 KiB", `".5" is not a number`,
			"write digits with at most one decimal point"},
		{parseBytes, "+5 KiB", `"+5" is not a number`,
			"write digits with at most one decimal point"},
		{parseBytes, "9223372036854775808 B", "memory size is too large", units},
		{parseBytes, "8796093022208 MiB", "memory size is too large", units},
		{parseBytes, strings.Repeat("9", 70) + " B", "text is too long for a quantity", units},
		{ParseSeconds, "1 min", `unknown unit "min"`, `write a number and a unit, such as "1 ` +
			`ms"; units: ns, us, ms, s`},
		{ParseSeconds, "1e3 s", `unknown unit "e3 s"`, `write a number and a unit, such as "1 ` +
			`ms"; units: ns, us, ms, s`},
		{ParseSeconds, "-1 ms", "a time here cannot be negative",
			`write a number and a unit, such as "1 ms"; units: ns, us, ms, s`},
		{ParseHertz, "64 Mhz", `unknown unit "Mhz"`, `did you mean "MHz"? write a number and a ` +
			`unit, such as "64 MHz"; units: Hz, kHz, MHz, GHz`},
		{ParseHertz, "64", "unit is missing", `write a number and a unit, such as "64 MHz"; ` +
			`units: Hz, kHz, MHz, GHz`},
		{ParsePercent, "0.05", "unit is missing", `write a number and a unit, such as "5 %"; ` +
			`units: %`},
		{ParseAmperes, "3 mV", `unknown unit "mV"`, `write a number and a unit, such as "3.2 ` +
			`mA"; units: nA, uA, mA, A`},
	} {
		_, err := tt.parse(tt.text)
		e, ok := err.(*fault.Error)
		if !ok {
			t.Errorf("%q: error %v", tt.text, err)
			continue
		}
		if e.Msg != tt.msg || e.Hint != tt.hint {
			t.Errorf("%q:\n got %q, hint %q\nwant %q, hint %q", tt.text, e.Msg, e.Hint, tt.msg,
				tt.hint)
		}
	}
}

func TestFormat(t *testing.T) {
	for _, tt := range []struct{ got, want string }{
		{FormatBytes(0), "0 B"}, {FormatBytes(940), "940 B"}, {FormatBytes(1023), "1023 B"},
		{FormatBytes(1024), "1 KiB"},
		{FormatBytes(1229), "1.2 KiB"}, {FormatBytes(24576), "24 KiB"},
		{FormatBytes(1<<20 - 1), "1 MiB"},
		{FormatBytes(3 << 19), "1.5 MiB"}, {FormatBytes(-300), "-300 B"},
		{FormatBytes(-2048), "-2 KiB"},
		{FormatBytes(math.MinInt64), "-8796093022208 MiB"},
		{FormatSeconds(0), "0 s"}, {FormatSeconds(1e-3), "1 ms"},
		{FormatSeconds(1.2345e-3), "1.23 ms"}, {FormatSeconds(9.996e-4), "1 ms"},
		{FormatSeconds(100e-6), "100 us"}, {FormatSeconds(2), "2 s"},
		{FormatSeconds(5e-7), "500 ns"}, {FormatSeconds(2e-11), "0.02 ns"},
		{FormatSpan(math.Inf(1)), "+Inf d"}, {FormatSpan(math.Inf(-1)), "-Inf s"},
		{FormatAmperes(math.NaN()), "NaN A"}, {FormatSpan(0), "0 s"},
		{FormatSeconds(86400), "86400 s"}, {FormatSeconds(-2e-3), "-2 ms"},
		{FormatSeconds(math.MaxFloat64)[:4], "1797"},
		{FormatHertz(64e6), "64 MHz"}, {FormatHertz(32768), "32.768 kHz"},
		{FormatHertz(7372800), "7.3728 MHz"},
		{FormatHertz(100), "100 Hz"}, {FormatHertz(0), "0 Hz"}, {FormatHertz(0.5), "0.5 Hz"},
		{FormatHertz(999999.9), "1 MHz"}, {FormatHertz(16e9), "16 GHz"},
	} {
		if tt.got != tt.want {
			t.Errorf("got %q, want %q", tt.got, tt.want)
		}
	}
}

func FuzzQuantities(f *testing.F) {
	for _, s := range []string{"24 KiB", "1.2 KiB", "5 %", "64 MHz", "-1 B", "1e9 s", "\u00b5s",
		"1,5 kB", "..", "00.10 MiB"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		if n, err := ParseBytes(s); err == nil {
			if n < 0 {
				t.Errorf("%q: %d bytes", s, n)
			}
			// The printed form is within half a tenth of its unit, or half of float64's last place.
			again, err := ParseBytes(FormatBytes(n))
			if n < 1<<53 &&
				(err != nil || math.Abs(float64(again-n)) > 0.05*math.Max(1024, float64(n))+1) {
				t.Errorf("%q: %d, printed %s, read %d, %v", s, n, FormatBytes(n), again, err)
			}
		} else if _, ok := err.(*fault.Error); !ok {
			t.Errorf("%q: error of type %T", s, err)
		}
		for _, tt := range []struct {
			parse  func(string) (float64, error)
			format func(float64) string
			digits float64 // significant
		}{{ParseSeconds, FormatSeconds, 3}, {ParseHertz, FormatHertz, 6}, {ParsePercent, nil, 0},
			{ParseAmperes, nil, 0}} {
			v, err := tt.parse(s)
			if err != nil {
				if _, ok := err.(*fault.Error); !ok {
					t.Errorf("%q: error of type %T", s, err)
				}
				continue
			}
			if v < 0 || math.IsNaN(v) || math.IsInf(v, 0) {
				t.Errorf("%q: %v", s, v)
			}
			if tt.format == nil || v > 1e30 || v < 1e-18 {
				continue
			}
			again, err := tt.parse(tt.format(v))
			if err != nil || math.Abs(again-v) > 0.51*math.Pow(10, 1-tt.digits)*v {
				t.Errorf("%q: %v, printed %s, read %v, %v", s, v, tt.format(v), again, err)
			}
		}
	})
}

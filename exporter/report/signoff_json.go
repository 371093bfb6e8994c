package report

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"regexp"

	"kerf/exporter/emit"
)

// MaxJSONBytes is the largest signoff.json, manifest.json or NAME_network.json that is read. The
// first two have some hundred kilobytes, the last has five bytes per weight; a list of empty
// records takes 200 times its size in memory.
const MaxJSONBytes = 8 << 20

// hexHash matches a SHA-256 as signoff.json has it.
var hexHash = regexp.MustCompile(`^[0-9a-f]{64}$`)

// Read reads signoff.json. Its text must be exactly what kerf writes for its content, and its
// verdicts must follow from the figures beside them, see [Signoff.CheckVerdicts]; so must the
// reason of the verdict, in the words of this version. The error says what is wrong, as the end of
// a sentence about the file.
func Read(text []byte) (*Signoff, error) {
	if text == nil {
		return nil, fmt.Errorf("is missing")
	}
	s := &Signoff{}
	if err := json.Unmarshal(text, s); err != nil {
		return nil, fmt.Errorf("cannot be read: %w", err)
	}
	if err := emit.CheckPrefix(s.Name); err != nil {
		return nil, err
	}
	if len(s.Inputs) == 0 || !hexHash.MatchString(s.Inputs[0].SHA256) {
		return nil, fmt.Errorf("names no job file with its SHA-256")
	}
	again, err := s.JSON()
	if err != nil {
		return nil, err
	}
	if !bytes.Equal(again, text) {
		return nil, fmt.Errorf("its text is not what kerf writes for its content: %s",
			FirstDifference(text, again))
	}
	if err := s.CheckVerdicts(); err != nil {
		return s, err
	}
	return s, s.checkReason()
}

// FirstDifference names the first line in which a text is not the wanted one, or the sizes of both
// where one is the beginning of the other.
func FirstDifference(have, want []byte) string {
	line := 1
	for i := range min(len(have), len(want)) {
		if have[i] != want[i] {
			return fmt.Sprintf("line %d", line)
		}
		if have[i] == '\n' {
			line++
		}
	}
	return fmt.Sprintf("%d bytes, should be %d", len(have), len(want))
}

// Finite returns a pointer to a figure, and nil where it is no number or infinite: JSON knows
// neither. Rows of reports hold such pointers and no type of number of their own: a missing field,
// which is an error, and null stay apart when signoff.json is read back.
func Finite(v float64) *float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	return &v
}

// JSON returns signoff.json. The error says that a figure which must be a number is none.
func (s *Signoff) JSON() ([]byte, error) {
	text, err := emit.Indented(s)
	if err != nil {
		return nil, fmt.Errorf("signoff.json: %w", err)
	}
	return text, nil
}

package report

import (
	"fmt"
	"math"

	"kerf/exporter/emit"
)

// Finite is nil where there is no number: JSON knows no NaN and no infinity.
func Finite(v float64) *float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	return &v
}

// JSON is signoff.json.
func (s *Signoff) JSON() ([]byte, error) {
	text, err := emit.Indented(s)
	if err != nil {
		return nil, fmt.Errorf("signoff.json: %w", err)
	}
	return text, nil
}

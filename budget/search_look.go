package budget

import "kerf/dataset"

// Windows of the selection recordings are what estimates look at, where the recordings are long:
// a look at them costs as much whatever the recordings have, and what it finds only says what to
// measure on all. All constants are our choice.
const (
	// windowSteps is about how many steps the windows have in all. The rough interval of a row
	// needs some sequences, and those of a scenario some hundred steps each.
	windowSteps = 8192
	// recordings of fewer than so many times windowSteps are looked at as they are
	fewestTimes = 5
	// windowed is the most sequences of a scenario that have a window.
	windowed = 8
	// warmUp is the number of steps before a window, which bring the state there. Where the memory
	// of the network is known (dataset.Float.Memory), it is twice that.
	warmUp = 64
)

// windowsOf returns a part of every scenario: windows of some of its sequences, spread over these
// from early to late. Recordings that are short come as they are.
func windowsOf(rec *dataset.Recordings) *dataset.Recordings {
	if rec.Steps() < fewestTimes*windowSteps {
		return rec
	}
	byScenario := map[string][]*dataset.Sequence{}
	for _, s := range rec.Sequences {
		byScenario[s.Scenario] = append(byScenario[s.Scenario], s)
	}
	part := *rec
	part.Sequences = nil
	for _, scenario := range rec.Scenarios() {
		all := byScenario[scenario]
		n := min(windowed, len(all))
		length := windowSteps / (n * len(byScenario))
		for i := range n {
			s := all[i*len(all)/n]
			spare := max(0, s.Steps-length-s.Settle)
			first := s.Settle
			if n > 1 {
				first += spare * i / (n - 1)
			}
			part.Sequences = append(part.Sequences,
				window(rec, s, first, min(s.Steps, first+length)))
		}
	}
	return &part
}

// window returns the steps from first to last of a sequence, with what warms the state up before
// them.
func window(rec *dataset.Recordings, s *dataset.Sequence, first, last int) *dataset.Sequence {
	from := max(0, first-max(warmUp, 2*rec.Memory))
	short := s.Part(from, last)
	short.Settle = first - from
	return short
}

// look is what estimates look at: windows of the selection recordings, laid out for the network as
// given.
type look struct {
	windows  *dataset.Recordings
	prepared *dataset.Prepared
}

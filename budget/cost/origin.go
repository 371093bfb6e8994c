package cost

// Origin says what the estimates of code size, stack and cycles for an instruction set rest on.
type Origin struct {
	Compiler string // with version and flags
	Counted  string // how the instructions of a step were counted
}

// EstimateOrigin gives the origin for the instruction set of a profile, which must be a known one.
func EstimateOrigin(isa string) Origin {
	k := kernelsFor(isa)
	return Origin{k.Compiler, k.Counted}
}

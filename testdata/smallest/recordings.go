package smallest

import (
	"bytes"
	"fmt"
	"math/rand/v2"
	"strconv"

	"kerf/portable"
)

// set is a group of sequences that serve one purpose.
type set struct {
	prefix    string // first part of the names of sequences
	seed      uint64 // is added to that of the job
	sequences int    // a quarter of them in every scenario
}

// The sets of every job. The network learns from the first, kerf sees the next two, and the last
// one compares networks for the README.
var (
	trainingSet   = set{"trn", trainingSeed, 240}
	selectionSet  = set{"sel", selectionSeed, 40}
	signoffSet    = set{"off", signoffSeed, 40}
	comparisonSet = set{"cmp", comparisonSeed, 80}
)

// length is the range of the lengths of sequences, in steps.
var length = span{250, 400}

// recordings returns a set as CSV. Values have four significant digits.
func (j *Job) recordings(s set) []byte {
	var out bytes.Buffer
	out.WriteString("sequence,scenario,t")
	for _, f := range j.sensors {
		out.WriteString("," + f.name)
	}
	for _, q := range j.quantities {
		out.WriteString("," + q.name)
	}
	if j.column != "" {
		out.WriteString("," + j.column)
	}
	out.WriteByte('\n')
	for i := range s.sequences {
		d := duties[i%len(duties)]
		j.sequence(&out, fmt.Sprintf("%s-%s-%02d", s.prefix, d.name, i/len(duties)+1), d,
			rand.New(rand.NewPCG(j.seed+s.seed, uint64(i))))
	}
	return out.Bytes()
}

// sequence writes the steps of one sequence.
func (j *Job) sequence(out *bytes.Buffer, name string, d duty, random *rand.Rand) {
	steps := int(length.draw(random))
	m := j.start(d, random)
	x, y := make([]float64, len(j.sensors)), make([]float64, len(j.quantities)+len(j.classes))
	for step := range steps {
		clear(y)
		m.step(x, y)
		line := append(out.AvailableBuffer(), name+","+d.name+","...)
		line = strconv.AppendFloat(line, float64(step)*j.seconds, 'f', 1, 64)
		for _, v := range x {
			line = strconv.AppendFloat(append(line, ','), v, 'g', 4, 64)
		}
		for o, q := range j.quantities {
			v := y[o] + float64(q.noise*portable.Normal(random))
			line = strconv.AppendFloat(append(line, ','), v, 'g', 4, 64)
		}
		if j.column != "" {
			line = append(append(line, ','), j.classes[j.recorded(y, random)]...)
		}
		out.Write(append(line, '\n'))
	}
}

// recorded returns the class that is recorded: at times not the true one but any other.
func (j *Job) recorded(y []float64, random *rand.Rand) int {
	class := 0
	for y[class] == 0 {
		class++
	}
	if random.Float64() < j.wrong {
		class = (class + 1 + random.IntN(len(y)-1)) % len(y)
	}
	return class
}

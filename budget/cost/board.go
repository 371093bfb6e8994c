package cost

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"

	"kerf/dataset"
	"kerf/fault"
	"kerf/quant"
)

// BoardLine is one line that NAME_board.c printed on a board.
type BoardLine struct {
	Line    int    // in the file
	Name    string // of the job
	Network string // as ShapeText writes it; behind it ";small" where plain C was built
	Shape   quant.Shape
	Form    Form
	Cycles  float64 // of one step, without the loop around it
}

// boardHead is the head that NAME_board.c prints in front of its line.
var boardHead = strings.Split("name,export,network,steps,cycles,overhead", ",")

// MaxBoardBytes is the size from which on a file of board lines is refused. Our choice: a network
// has one line of some hundred bytes for each run.
const MaxBoardBytes = 8 << 20

// ReadBoardLines reads lines that NAME_board.c printed, of one or several boards; file names them
// in errors. Heads may repeat. Errors are of kind
// [dataset.ErrInput].
func ReadBoardLines(r io.Reader, file string) ([]BoardLine, error) {
	const hint = "give the lines that NAME_board.c prints, heads included, and nothing else"
	reader := csv.NewReader(r)
	reader.FieldsPerRecord = len(boardHead)
	var lines []BoardLine
	for {
		record, err := reader.Read()
		if err == io.EOF {
			break
		}
		if err != nil {
			e := &fault.Error{Kind: dataset.ErrInput, File: file,
				Msg: "cannot be read as CSV of 6 columns", Hint: hint, Cause: err}
			if parse := new(csv.ParseError); errors.As(err, &parse) {
				e.Line = parse.Line
			}
			return nil, e
		}
		if slices.Equal(record, boardHead) {
			continue
		}
		at, _ := reader.FieldPos(0)
		line := BoardLine{Line: at, Name: record[0], Network: record[2], Form: Fast}
		bad := func(column int, msg string) *fault.Error {
			return &fault.Error{Kind: dataset.ErrInput, File: file, Line: at,
				Name: dataset.InColumn(boardHead[column]), Msg: msg, Hint: hint}
		}
		shape, isSmall := strings.CutSuffix(record[2], ";"+string(Small))
		if isSmall {
			line.Form = Small
		}
		if line.Shape, err = ParseShape(shape); err != nil {
			return nil, bad(2, err.Error()).From(err)
		}
		var count [3]float64 // steps, cycles, overhead
		for i := range count {
			n, err := strconv.ParseUint(record[3+i], 10, 32)
			if err != nil {
				return nil, bad(3+i, fmt.Sprintf("%q is no count of 32 bits", record[3+i])).
					From(err)
			}
			count[i] = float64(n)
		}
		if count[0] == 0 || count[1] <= count[2] {
			return nil, bad(4, "no steps, or not more cycles than the loop around them takes")
		}
		line.Cycles = (count[1] - count[2]) / count[0]
		lines = append(lines, line)
	}
	if len(lines) == 0 {
		return nil, &fault.Error{Kind: dataset.ErrInput, File: file,
			Msg:  "the file holds no measurement",
			Hint: hint}
	}
	return lines, nil
}

package cost

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"sort"
	"strings"

	"gonum.org/v1/gonum/mat"

	"kerf/fault"
	"kerf/quant"
	"kerf/targets"
)

// worstCondition is the largest condition number, of columns scaled to equal length, with which
// coefficients are told apart: from 30 on dependencies between columns are strong (Belsley, Kuh,
// Welsch, Regression Diagnostics, 1980, section 3.2, from memory).
const worstCondition = 30

// costStep is the unit of fitted costs, in cycles. Our choice: far below what a board can show, and
// far above what differs between machines.
const costStep = 1e-4

// Fitted is a profile whose costs follow from measurements on a board.
type Fitted struct {
	Profile   *targets.Profile // the costs are new, their sources are those of before
	Costs     []FittedCost
	Rows      []FittedRow
	Condition float64 // of the columns, scaled to equal length; 1 is best
}

// FittedCost is the cost of one instruction class, in cycles.
type FittedCost struct {
	Class         string
	Before, After float64
	Error         float64 // standard error
}

// FittedRow compares the cycles of one step of a network.
type FittedRow struct {
	Name, Network           string
	Lines                   int // of the file; Measured is their mean
	Measured, Before, After float64
}

// FitProfile fits the costs of instruction classes to measured steps, by least squares of the
// relative errors; one row per network, all other costs stay. Without classes it fits every class
// that the networks execute. It refuses measurements that cannot tell the costs apart: as many
// costs as networks, a condition number above 30, and a fit that gives a cost not above 0. The
// hint of an error says what to do instead.
func FitProfile(core *targets.Profile, lines []BoardLine, classes []string) (*Fitted, error) {
	if len(core.FlashWaits) > 0 {
		return nil, fault.New(fmt.Sprintf("profile %s has flash wait states, which cannot be "+
			"told from costs", core.Name), "fit a profile without [[flash_wait]]: the fitted "+
			"costs then hold what flash adds at the clock of the measurement")
	}
	if kernelsFor(core.ISA, Fast).isSimulated() {
		return nil, fault.New(fmt.Sprintf("the estimates of profile %s rest on cycles that a "+
			"simulator counted, not on instruction classes", core.Name),
			"compare your measurements with kerf measure instead")
	}
	rows := networksOf(lines)
	counts := make([]map[string]float64, len(rows))
	shares := map[string]float64{} // of the cycles, over all rows
	for i := range rows {
		counts[i] = classCounts(rows[i].shape, core, rows[i].form)
		for _, class := range slices.Sorted(maps.Keys(counts[i])) {
			part := float64(counts[i][class] * core.Cycles(class))
			rows[i].Before += part
			shares[class] += part / rows[i].Measured
		}
	}
	executed := slices.Sorted(maps.Keys(shares))
	sort.SliceStable(executed, func(a, b int) bool {
		return shares[executed[a]] > shares[executed[b]]
	})
	if len(classes) == 0 {
		classes = executed
	}
	for i, class := range classes {
		if !slices.Contains(executed, class) || slices.Contains(classes[:i], class) {
			return nil, fault.New(fmt.Sprintf("%q is no instruction class that these networks "+
				"execute, or stands twice", class), fault.DidYouMeanOr(class, executed,
				"they execute, the most cycles first: "+strings.Join(executed, ", ")))
		}
	}
	f := &fit{core: core, rows: rows, counts: counts}
	advice := func() string {
		var some []string
		for _, class := range executed {
			if more := append(slices.Clone(some), class); len(more) < len(rows) &&
				f.condition(more) <= worstCondition {
				some = more
			}
		}
		if len(some) == 0 {
			return "measure more networks, of other sizes and word widths"
		}
		return "measure more networks, of other sizes and word widths, or fit less: --classes " +
			strings.Join(some, ",")
	}
	if len(rows) <= len(classes) {
		return nil, fault.New(fmt.Sprintf("%d different networks cannot tell %d costs, and how "+
			"well they are known", len(rows), len(classes)), advice())
	}
	condition := f.condition(classes)
	if !(condition <= worstCondition) {
		return nil, fault.New(fmt.Sprintf("these networks execute the classes in nearly the "+
			"same proportions (condition number %.3g, at most %d is allowed): the costs cannot "+
			"be told apart", condition, worstCondition), advice())
	}
	fitted, err := f.solve(classes)
	if err != nil {
		return nil, fault.New(err.Error(), advice()).From(err)
	}
	fitted.Condition = condition
	return fitted, nil
}

// fitRow is a row of the fit with the network that it is about.
type fitRow struct {
	FittedRow
	shape quant.Shape
	form  Form
}

// networksOf returns a row for each network, in the order of the lines, with the mean of its
// measurements.
func networksOf(lines []BoardLine) []fitRow {
	var rows []fitRow
	for _, l := range lines {
		i := slices.IndexFunc(rows, func(r fitRow) bool { return r.Network == l.Network })
		if i < 0 {
			i = len(rows)
			rows = append(rows,
				fitRow{FittedRow: FittedRow{Name: l.Name, Network: l.Network}, shape: l.Shape,
					form: l.Form})
		}
		rows[i].Lines++
		rows[i].Measured += (l.Cycles - rows[i].Measured) / float64(rows[i].Lines)
	}
	return rows
}

// classCounts returns how many instructions of each class one step executes: its cycles on a core
// on which that class takes one cycle and all others none.
func classCounts(s quant.Shape, core *targets.Profile, form Form) map[string]float64 {
	counts := map[string]float64{}
	for class := range core.Costs {
		one := *core
		one.Costs = map[string]targets.Cost{}
		for other := range core.Costs {
			one.Costs[other] = targets.Cost{}
		}
		one.Costs[class] = targets.Cost{Cycles: 1}
		n := stepCycles(s, &one, form)
		if n != 0 { // a fitted class that hardly occurs may be below zero
			counts[class] = n
		}
	}
	return counts
}

// fit is a least-squares problem: counts holds the instructions by class of every row.
type fit struct {
	core   *targets.Profile
	rows   []fitRow
	counts []map[string]float64
}

// columns returns the matrix of the problem: a row for each network, a column for each class, the
// counts divided by the measured cycles.
func (f *fit) columns(classes []string) *mat.Dense {
	a := mat.NewDense(len(f.rows), len(classes), nil)
	for i, row := range f.rows {
		for j, class := range classes {
			a.Set(i, j, f.counts[i][class]/row.Measured)
		}
	}
	return a
}

// condition returns the condition number of the columns, each scaled to length 1.
func (f *fit) condition(classes []string) float64 {
	a := f.columns(classes)
	for j := range classes {
		column := a.ColView(j)
		length := mat.Norm(column, 2)
		for i := range f.rows {
			a.Set(i, j, a.At(i, j)/length)
		}
	}
	return mat.Cond(a, 2)
}

// solve returns the profile with the fitted costs of classes. There are more rows than classes.
func (f *fit) solve(classes []string) (*Fitted, error) {
	a := f.columns(classes)
	rest := mat.NewVecDense(len(f.rows), nil) // cycles of the classes, relative to measured ones
	for i, row := range f.rows {
		left := row.Measured
		for _, class := range slices.Sorted(maps.Keys(f.counts[i])) {
			if !slices.Contains(classes, class) {
				left -= float64(f.counts[i][class] * f.core.Cycles(class))
			}
		}
		rest.SetVec(i, left/row.Measured)
	}
	var qr mat.QR
	qr.Factorize(a)
	var costs mat.VecDense
	if err := qr.SolveVecTo(&costs, false, rest); err != nil {
		return nil, fmt.Errorf("the costs cannot be told apart")
	}
	var left mat.VecDense
	left.MulVec(a, &costs)
	left.SubVec(rest, &left)
	variance := mat.Dot(&left, &left) / float64(len(f.rows)-len(classes))
	var normal, inverse mat.Dense
	normal.Mul(a.T(), a)
	if err := inverse.Inverse(&normal); err != nil {
		return nil, fmt.Errorf("the costs cannot be told apart")
	}
	profile := *f.core
	profile.Costs = maps.Clone(f.core.Costs)
	fitted := &Fitted{Profile: &profile}
	for j, class := range classes {
		after := math.Round(costs.AtVec(j)/costStep) * costStep
		if !(after > 0) || math.IsInf(after, 0) {
			return nil, fmt.Errorf("the fit gives %s a cost of %.3g cycles, which no "+
				"instruction has", class, after)
		}
		fitted.Costs = append(fitted.Costs,
			FittedCost{class, f.core.Cycles(class), after, math.Sqrt(variance * inverse.At(j, j))})
		cost := profile.Costs[class]
		cost.Cycles = after
		profile.Costs[class] = cost
	}
	for i, row := range f.rows {
		for _, class := range slices.Sorted(maps.Keys(f.counts[i])) {
			row.After += float64(f.counts[i][class] * profile.Cycles(class))
		}
		fitted.Rows = append(fitted.Rows, row.FittedRow)
	}
	return fitted, nil
}

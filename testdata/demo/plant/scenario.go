package plant

import "math/rand/v2"

// span is a range from which a value is drawn, evenly.
type span struct{ low, high float64 }

// draw draws a value of the range.
func (s span) draw(rng *rand.Rand) float64 { return s.low + (s.high-s.low)*rng.Float64() }

// scenario is one named way to operate the machine.
type scenario struct {
	name   string
	stream uint64 // first random stream of its sequences; sets stay below 1000 sequences

	startTemperature span    // oil at the first step, degC
	heating          float64 // degC per step at 100 bar load
	equilibrium      span    // temperature the oil settles at, degC

	approach, split, retract span    // length of the three parts of a cycle, steps
	peak                     span    // supply pressure while splitting, bar
	pressureLag              float64 // time constant of the supply pressure, steps

	startAir    span    // entrained air at the first step, % by volume
	quietIngest span    // air level that quiet running leads to, % by volume
	burstChance float64 // chance per step that a burst of air ingress begins
	burstLength span    // steps
	burstLevel  span    // air level that a burst leads to, % by volume
}

// scenarios are the four scenarios, in the order of the recordings.
var scenarios = []scenario{
	{
		name: "warm_up", stream: 0,
		startTemperature: span{0, 16}, heating: 0.035, equilibrium: span{42, 55},
		approach: span{40, 80}, split: span{40, 90}, retract: span{30, 70},
		peak: span{50, 120}, pressureLag: 12,
		startAir: span{0.2, 0.9}, quietIngest: span{0.4, 1.6},
		burstChance: 0.0015, burstLength: span{80, 200}, burstLevel: span{3, 9},
	},
	{
		name: "steady_splitting", stream: 1000,
		startTemperature: span{38, 58}, heating: 0.004, equilibrium: span{50, 62},
		approach: span{12, 25}, split: span{25, 55}, retract: span{14, 25},
		peak: span{100, 210}, pressureLag: 4,
		startAir: span{0.3, 1.2}, quietIngest: span{0.5, 2.0},
		burstChance: 0.002, burstLength: span{60, 200}, burstLevel: span{4, 11},
	},
	{
		name: "fast_cycling", stream: 2000,
		startTemperature: span{45, 65}, heating: 0.006, equilibrium: span{60, 72},
		approach: span{3, 8}, split: span{4, 11}, retract: span{3, 8},
		peak: span{90, 220}, pressureLag: 2,
		startAir: span{0.4, 1.6}, quietIngest: span{1.0, 3.0},
		burstChance: 0.003, burstLength: span{60, 200}, burstLevel: span{5, 12},
	},
	{
		name: "aerated_oil", stream: 3000,
		startTemperature: span{32, 58}, heating: 0.005, equilibrium: span{48, 62},
		approach: span{12, 30}, split: span{20, 50}, retract: span{14, 30},
		peak: span{80, 200}, pressureLag: 5,
		startAir: span{0.5, 3.5}, quietIngest: span{1.5, 4.0},
		burstChance: 0.02, burstLength: span{120, 320}, burstLevel: span{12, 24},
	},
}

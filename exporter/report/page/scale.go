package page

import (
	"fmt"
	"math"
	"strconv"
)

// scale maps the values from low to high to the pixels between from and to. An axis that counts
// upwards has from below to.
type scale struct{ low, high, from, to float64 }

// at returns the place of a value, which may lie beyond the ends.
func (s scale) at(v float64) float64 {
	if s.high == s.low {
		return s.from
	}
	return s.from + float64((s.to-s.from)*((float64(v)-s.low)/(s.high-s.low)))
}

// clamped returns the place of a value, or the end that it lies beyond.
func (s scale) clamped(v float64) float64 {
	return s.at(math.Max(s.low, math.Min(s.high, v)))
}

// ticks returns the round values on the scale, at most about as many as asked for. No logarithm is
// used, since its last bits differ between processors.
func (s scale) ticks(about int) []float64 {
	span := s.high - s.low
	if !(span > 0) {
		return []float64{s.low}
	}
	step := 1.0
	for step > span/float64(about) {
		step /= 10
	}
	for step*10 <= span/float64(about) {
		step *= 10
	}
	for _, m := range []float64{1, 2, 5, 10} {
		if span/(step*m) <= float64(about) {
			step *= m
			break
		}
	}
	var all []float64
	for i := math.Ceil(s.low / step); float64(i*step) <= s.high+float64(step*1e-9); i++ {
		all = append(all, float64(i*step))
	}
	return all
}

// tickText returns a function that prints ticks with the digits that their step needs.
func tickText(ticks []float64) func(float64) string {
	const most = 12
	digits := 0
	if len(ticks) > 1 {
		step := ticks[1] - ticks[0]
		for digits < most && math.Abs(step-math.Round(step)) > 1e-6*step {
			step *= 10
			digits++
		}
	}
	return func(v float64) string {
		if v == 0 {
			v = 0 // no minus before 0
		}
		return strconv.FormatFloat(v, 'f', digits, 64)
	}
}

// axisBelow draws a horizontal axis at y with its title below and grid lines up to top. show prints
// a tick; nil stands for [tickText].
func (d *drawing) axisBelow(s scale, y, top float64, title string, about int,
	show func(float64) string) {
	ticks := s.ticks(about)
	if show == nil {
		show = tickText(ticks)
	}
	d.line(s.from, y, s.to, y, "axis")
	for _, v := range ticks {
		x := s.at(v)
		d.line(x, top, x, y, "grid")
		d.text(x, y+14, "tick mid", show(v))
	}
	d.text((s.from+s.to)/2, y+29, "title mid", title)
}

// axisLeft draws a vertical axis at x with its title above and grid lines up to right.
func (d *drawing) axisLeft(s scale, x, right float64, title string, about int) {
	ticks := s.ticks(about)
	show := tickText(ticks)
	d.line(x, s.from, x, s.to, "axis")
	for _, v := range ticks {
		y := s.at(v)
		d.line(x, y, right, y, "grid")
		d.text(x-5, y+4, "tick end", show(v))
	}
	if title != "" {
		d.text(x-30, s.to-8, "title", title)
	}
}

// extent is the range of some values and of 0.
type extent struct{ low, high float64 }

// include widens the range to values; nil stands for no value.
func (e *extent) include(values ...*float64) {
	for _, v := range values {
		if v != nil {
			e.low, e.high = min(e.low, *v), max(e.high, *v)
		}
	}
}

// inPercent returns a share in percent, nil for nil.
func inPercent(share *float64) *float64 {
	if share == nil {
		return nil
	}
	percent := 100 * *share
	return &percent
}

// intervalAcross draws an interval on a horizontal scale; an end that is nil leaves it out.
func (d *drawing) intervalAcross(s scale, low, high *float64, y float64) {
	if low == nil || high == nil {
		return
	}
	a, b := pixels(s.at(*low)), pixels(s.at(*high))
	d.path("interval", fmt.Sprintf("M%s %sH%sM%s %sv8M%s %sv8", a, pixels(y), b, a, pixels(y-4), b,
		pixels(y-4)))
}

//go:build !linux

package whole

// exchange returns errNoExchange: only Linux swaps two paths in one step.
func exchange(a, b string) error { return errNoExchange }

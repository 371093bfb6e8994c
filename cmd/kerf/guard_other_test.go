//go:build !linux

package main

import "os"

const guardName = "kerf-guard"

// guard exists on Linux alone; the test that needs it says so.
func guard() { os.Exit(9) }

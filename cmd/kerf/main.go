// Command kerf cuts a trained recurrent network down until it fits a
// microcontroller, measures what the cut costs, and hands the result to
// firmware. Run kerf --help.
package main

import "os"

func main() {
	os.Exit(run(os.Args[1:], os.Stdin, os.Stdout, os.Stderr))
}

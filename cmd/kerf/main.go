package main

import (
	"os"
	"runtime"
)

func main() {
	reserved := collectEarly()
	code := run(os.Args[1:], os.Stdin, os.Stdout, os.Stderr)
	runtime.KeepAlive(reserved)
	exit(code)
}

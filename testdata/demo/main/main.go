// Command main writes the demonstration plant: go run ./testdata/demo/main DIR.
package main

import (
	"fmt"
	"os"

	"lastgood/testdata/demo"
)

func main() {
	if len(os.Args) != 2 {
		fmt.Fprintln(os.Stderr, "usage: go run ./testdata/demo/main DIR")
		os.Exit(2)
	}
	if err := demo.Write(os.Args[1]); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
}
